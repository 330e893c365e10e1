/* input_udp.c - sentences in UDP datagrams, plain or IEC 61162-450. Listens; never sends.
 *
 *   udp:10110                              from this machine only
 *   udp:192.168.1.20:10110                 what is sent to that address of this machine
 *   udp:0.0.0.0:10110,from=192.168.1.0/24  from anywhere in that network
 *   udp:239.192.0.1:60001,interface=eth0   a multicast group, joined on that interface
 *   udp:[::1]:10110                        IPv6
 *   udp:[::]:10110,from=192.168.1.0/24     IPv6 and IPv4; that IPv4 network only
 */
#include <arpa/inet.h>
#include <errno.h>
#include <net/if.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <sys/timerfd.h>
#include <unistd.h>

#include "input.h"

#define DATAGRAMS_A_WAKING 64
#define NETWORKS_MAX 8
#define GROUP_LOOK_S 1 /* how often a multicast group is looked after */

union address {
    struct sockaddr any;
    struct sockaddr_in four;
    struct sockaddr_in6 six;
};

/* Addresses whose first `bits` bits agree. IPv4 stands in four of the bytes. */
struct network {
    int family;
    unsigned bits;
    uint8_t bytes[16];
};

struct udp {
    union address local;
    char interface[IF_NAMESIZE];
    size_t network_count;
    struct network networks[NETWORKS_MAX]; /* allowed senders; none: all */
    int receive_buffer;                    /* bytes */
    int fd;
    int timer, both;    /* of a multicast group: when to look after it; epoll on that and fd */
    uint32_t overflows; /* datagrams the socket has lost since it was opened */
    uint8_t datagram[65536];
};

/* --- the text */

static const char *const form =
    "udp:PORT listens to this machine only; udp:ADDRESS:PORT to an address of this machine or a "
    "multicast group; then perhaps ,from=NETWORK/BITS and ,interface=NAME";

static enum status bad(struct complaint *complaint, const char *what, const char *text)
{
    return complain(complaint, STATUS_BAD_USAGE, "\"%.80s\" is not %s. %s", text, what, form);
}

static bool read_port(const char *text, in_port_t *port)
{
    size_t digits = strspn(text, "0123456789");
    unsigned long value = strtoul(text, NULL, 10);
    *port = htons((uint16_t)value);
    return digits >= 1 && digits <= 5 && text[digits] == '\0' && value >= 1 && value <= 65535;
}

static bool read_four(struct udp *udp, const char *host, const char *port)
{
    udp->local.four = (struct sockaddr_in){.sin_family = AF_INET};
    return inet_pton(AF_INET, host, &udp->local.four.sin_addr) == 1 &&
           read_port(port, &udp->local.four.sin_port);
}

static bool read_six(struct udp *udp, const char *host, const char *port)
{
    udp->local.six = (struct sockaddr_in6){.sin6_family = AF_INET6};
    return inet_pton(AF_INET6, host, &udp->local.six.sin6_addr) == 1 &&
           read_port(port, &udp->local.six.sin6_port);
}

/* "10110", "127.0.0.1:10110", "[::1]:10110". Cuts the text in place. */
static bool read_local(struct udp *udp, char *text)
{
    char *colon = strrchr(text, ':');
    if (!colon)
        return read_four(udp, "127.0.0.1", text);
    *colon = '\0';
    if (text[0] != '[')
        return read_four(udp, text, colon + 1);
    if (colon[-1] != ']')
        return false;
    colon[-1] = '\0';
    return read_six(udp, text + 1, colon + 1);
}

static bool read_network(struct network *network, char *text)
{
    char *slash = strchr(text, '/');
    if (slash)
        *slash = '\0';
    network->family = strchr(text, ':') ? AF_INET6 : AF_INET;
    unsigned most = network->family == AF_INET6 ? 128 : 32;
    char *end = NULL;
    unsigned long bits = slash ? strtoul(slash + 1, &end, 10) : most;
    network->bits = (unsigned)bits;
    return inet_pton(network->family, text, network->bytes) == 1 && bits <= most &&
           (!slash || (slash[1] >= '0' && slash[1] <= '9' && *end == '\0'));
}

static enum status read_option(struct udp *udp, char *option, struct complaint *complaint)
{
    char shown[96];
    snprintf(shown, sizeof shown, "%s", option);
    if (strncmp(option, "interface=", 10) == 0) {
        if (strlen(option + 10) == 0 || strlen(option + 10) >= sizeof udp->interface)
            return bad(complaint, "the name of a network interface", shown);
        strcpy(udp->interface, option + 10);
        return STATUS_OK;
    }
    if (strncmp(option, "from=", 5) != 0)
        return bad(complaint, "an option of an UDP input", shown);
    if (udp->network_count == NETWORKS_MAX)
        return complain(complaint, STATUS_BAD_USAGE, "at most %d times from= is allowed",
                        NETWORKS_MAX);
    if (!read_network(&udp->networks[udp->network_count++], option + 5))
        return bad(complaint, "a network like 192.168.1.0/24", shown);
    return STATUS_OK;
}

static enum status read_address(struct udp *udp, const char *address, struct complaint *complaint)
{
    char piece[96];
    const char *whole = address;
    if (!input_next_option(&address, piece, sizeof piece) || !read_local(udp, piece))
        return bad(complaint, "a port, or an address and a port", whole);
    while (*address) {
        if (!input_next_option(&address, piece, sizeof piece))
            return bad(complaint, "an option of an UDP input", address);
        enum status status = read_option(udp, piece, complaint);
        if (status != STATUS_OK)
            return status;
    }
    return STATUS_OK;
}

static enum status create(const char *address, const struct settings *settings, void **self,
                          struct complaint *complaint)
{
    struct udp *udp = calloc(1, sizeof *udp);
    if (!udp)
        return complain(complaint, STATUS_MEMORY, "no memory for an UDP input");
    udp->fd = udp->timer = udp->both = -1;
    udp->receive_buffer = (int)(settings->receive_buffer * 1024);
    enum status status = read_address(udp, address, complaint);
    if (status != STATUS_OK) {
        free(udp);
        return status;
    }
    *self = udp;
    return STATUS_OK;
}

/* --- opening */

static void close_one(int *fd)
{
    if (*fd >= 0)
        close(*fd);
    *fd = -1;
}

static void close_udp(void *self)
{
    struct udp *udp = self;
    close_one(&udp->both);
    close_one(&udp->timer);
    close_one(&udp->fd);
}

static bool is_multicast(const struct udp *udp)
{
    if (udp->local.any.sa_family == AF_INET6)
        return IN6_IS_ADDR_MULTICAST(&udp->local.six.sin6_addr);
    return IN_MULTICAST(ntohl(udp->local.four.sin_addr.s_addr));
}

static int join_group(const struct udp *udp)
{
    int index = udp->interface[0] ? (int)if_nametoindex(udp->interface) : 0;
    if (udp->interface[0] && index == 0)
        return -1;
    if (udp->local.any.sa_family == AF_INET6) {
        struct ipv6_mreq request = {.ipv6mr_multiaddr = udp->local.six.sin6_addr,
                                    .ipv6mr_interface = (unsigned)index};
        return setsockopt(udp->fd, IPPROTO_IPV6, IPV6_JOIN_GROUP, &request, sizeof request);
    }
    struct ip_mreqn request = {.imr_multiaddr = udp->local.four.sin_addr, .imr_ifindex = index};
    return setsockopt(udp->fd, IPPROTO_IP, IP_ADD_MEMBERSHIP, &request, sizeof request);
}

/* The largest buffer the system gives; and how many datagrams were lost, with each that was not. */
static void set_buffer(const struct udp *udp)
{
    const int on = 1;
    if (udp->receive_buffer > 0 &&
        setsockopt(udp->fd, SOL_SOCKET, SO_RCVBUFFORCE, &udp->receive_buffer, sizeof(int)) != 0)
        setsockopt(udp->fd, SOL_SOCKET, SO_RCVBUF, &udp->receive_buffer, sizeof(int));
    setsockopt(udp->fd, SOL_SOCKET, SO_RXQ_OVFL, &on, sizeof on);
    /* Several programs may listen to one group; to an address only one can. */
    if (is_multicast(udp))
        setsockopt(udp->fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
}

/* A membership ends with its interface, and nobody tells the socket: it would be silent for ever
 * when the adapter is plugged in again. So the loop is waked now and then to look after it. */
static bool watch_group(struct udp *udp)
{
    const struct itimerspec often = {{GROUP_LOOK_S, 0}, {GROUP_LOOK_S, 0}};
    struct epoll_event event = {.events = EPOLLIN};
    udp->timer = timerfd_create(CLOCK_MONOTONIC, TFD_CLOEXEC | TFD_NONBLOCK);
    udp->both = epoll_create1(EPOLL_CLOEXEC);
    return udp->timer >= 0 && udp->both >= 0 && timerfd_settime(udp->timer, 0, &often, NULL) == 0 &&
           epoll_ctl(udp->both, EPOLL_CTL_ADD, udp->timer, &event) == 0 &&
           epoll_ctl(udp->both, EPOLL_CTL_ADD, udp->fd, &event) == 0;
}

static enum status fail_open(struct udp *udp, const char *what, struct complaint *complaint)
{
    const char *advice = "";
    if (errno == EADDRINUSE)
        advice = "; another program listens there";
    else if (errno == ENODEV)
        advice = "; name the interface with ,interface=NAME";
    complain(complaint, STATUS_IO, "%s: %s%s", what, strerror(errno), advice);
    close_udp(udp);
    return STATUS_IO;
}

static enum status open_udp(void *self, struct complaint *complaint)
{
    struct udp *udp = self;
    bool six = udp->local.any.sa_family == AF_INET6;
    udp->overflows = 0;
    udp->fd = socket(udp->local.any.sa_family, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (udp->fd < 0)
        return fail_open(udp, "no socket", complaint);
    set_buffer(udp);
    if (bind(udp->fd, &udp->local.any, six ? sizeof udp->local.six : sizeof udp->local.four) != 0)
        return fail_open(udp, "cannot listen", complaint);
    if (is_multicast(udp) && join_group(udp) != 0)
        return fail_open(udp, "cannot join the multicast group", complaint);
    if (is_multicast(udp) && !watch_group(udp))
        return fail_open(udp, "cannot look after the multicast group", complaint);
    return STATUS_OK;
}

static int fd_of(const void *self, uint32_t *events)
{
    const struct udp *udp = self;
    *events = EPOLLIN;
    return udp->both >= 0 ? udp->both : udp->fd;
}

/* --- reading */

static bool same_bits(const uint8_t *a, const uint8_t *b, unsigned bits)
{
    if (memcmp(a, b, bits / 8) != 0)
        return false;
    return bits % 8 == 0 || ((a[bits / 8] ^ b[bits / 8]) >> (8 - bits % 8)) == 0;
}

static bool is_in(const struct udp *udp, int family, const uint8_t *bytes)
{
    for (size_t i = 0; i < udp->network_count; i++) {
        const struct network *network = &udp->networks[i];
        if (network->family == family && same_bits(network->bytes, bytes, network->bits))
            return true;
    }
    return false;
}

/* An IPv6 socket shows an IPv4 sender as ::ffff:a.b.c.d (RFC 4291, section 2.5.5.2): it belongs to
 * the IPv4 networks as well, with the last four bytes. */
static bool is_allowed(const struct udp *udp, const union address *sender)
{
    if (udp->network_count == 0)
        return true;
    if (sender->any.sa_family != AF_INET6)
        return is_in(udp, AF_INET, (const uint8_t *)&sender->four.sin_addr.s_addr);
    const uint8_t *bytes = sender->six.sin6_addr.s6_addr;
    bool mapped = IN6_IS_ADDR_V4MAPPED(&sender->six.sin6_addr);
    return is_in(udp, AF_INET6, bytes) || (mapped && is_in(udp, AF_INET, bytes + 12));
}

/* Datagrams that the socket lost since the one before. The counter wraps. */
static uint32_t newly_lost(struct udp *udp, struct msghdr *message)
{
    for (struct cmsghdr *it = CMSG_FIRSTHDR(message); it; it = CMSG_NXTHDR(message, it)) {
        uint32_t overflows;
        if (it->cmsg_level != SOL_SOCKET || it->cmsg_type != SO_RXQ_OVFL)
            continue;
        memcpy(&overflows, CMSG_DATA(it), sizeof overflows);
        uint32_t lost = overflows - udp->overflows;
        udp->overflows = overflows;
        return lost;
    }
    return 0;
}

/* Takes one datagram; false if there is none, with errno. */
static bool take_datagram(struct udp *udp, int64_t at, struct intake *intake, unsigned number)
{
    union address sender = {.any = {.sa_family = AF_UNSPEC}};
    _Alignas(struct cmsghdr) char control[CMSG_SPACE(sizeof(uint32_t)) + 64];
    struct iovec bytes = {udp->datagram, sizeof udp->datagram};
    struct msghdr message = {.msg_name = &sender,
                             .msg_namelen = sizeof sender,
                             .msg_iov = &bytes,
                             .msg_iovlen = 1,
                             .msg_control = control,
                             .msg_controllen = sizeof control};
    ssize_t count = recvmsg(udp->fd, &message, 0);
    if (count < 0)
        return false;
    uint32_t lost = newly_lost(udp, &message);
    if (lost > 0)
        intake_lost(intake, number, at, lost);
    if (is_allowed(udp, &sender))
        intake_datagram(intake, number, at, udp->datagram, (size_t)count);
    else
        intake_count(intake, number, REASON_REFUSED_SENDER, at, 1);
    return true;
}

/* Whether a group still has the interface that it was joined on. Joining once more says so: it
 * fails with EADDRINUSE as long as nothing has changed, and is done where the interface is a new
 * one, perhaps of the same name; then the socket is better made anew. Without a route nothing is
 * known. */
static bool has_group(const struct udp *udp, struct complaint *complaint)
{
    uint64_t times;
    if (read(udp->timer, &times, sizeof times) < 0)
        return true; /* it is not time to look */
    if (udp->interface[0] && if_nametoindex(udp->interface) == 0) {
        complain(complaint, STATUS_IO, "the interface %s has gone; was the adapter unplugged?",
                 udp->interface);
        return false;
    }
    if (join_group(udp) != 0)
        return true;
    complain(complaint, STATUS_IO, "the network interface is another one now; joining again");
    return false;
}

static enum input_answer read_udp(void *self, const struct moment *now, struct intake *intake,
                                  unsigned number, struct complaint *complaint)
{
    struct udp *udp = self;
    for (int i = 0; i < DATAGRAMS_A_WAKING; i++) {
        if (take_datagram(udp, now->at, intake, number))
            continue;
        if (errno == EAGAIN || errno == EINTR)
            return udp->timer < 0 || has_group(udp, complaint) ? INPUT_READ : INPUT_GONE;
        complain(complaint, STATUS_IO, "cannot read: %s", strerror(errno));
        return INPUT_GONE;
    }
    return INPUT_READ;
}

const struct input_driver input_udp = {
    .name = "udp",
    .usage =
        "udp:[ADDRESS:]PORT[,from=NETWORK/BITS][,interface=NAME]   sentences in datagrams; from "
        "this machine only, if no address is named",
    .create = create,
    .open = open_udp,
    .fd = fd_of,
    .read = read_udp,
    .close = close_udp,
    .destroy = free,
};
