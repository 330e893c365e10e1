/* input_tcp.c - sentences from a gateway that serves them over TCP. Connects; never sends.
 *
 *   tcp:192.168.1.20:10110    tcp:gateway.local:10110    tcp:[fe80::1%eth0]:10110
 *
 * Nothing here waits. A name is looked up by getaddrinfo_a (glibc), which asks the name servers on
 * a thread of its own; other inputs go on being read meanwhile. An address that does not answer
 * within CONNECT_NS is given up for the next one.
 */
#include <errno.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <unistd.h>

#include "input.h"

#define CONNECT_NS (10 * NS_PER_S)
#define READS_A_WAKING 16

struct tcp {
    char host[96], port[8];
    enum { TCP_CLOSED, TCP_LOOKING_UP, TCP_CONNECTING, TCP_OPEN } state;
    int fd;
    bool looking_up; /* `request` is in the hands of the resolver */
    struct gaicb request;
    struct addrinfo hints;
    struct addrinfo *found; /* owned; `next` is to be tried next */
    const struct addrinfo *next;
    int64_t give_up_at; /* CONNECTING; 0 = not set yet */
    int error;          /* why the last address failed */
    uint8_t bytes[4096];
};

/* --- the text */

static bool is_port(const char *text)
{
    size_t digits = strspn(text, "0123456789");
    unsigned long value = strtoul(text, NULL, 10);
    return digits >= 1 && digits <= 5 && text[digits] == '\0' && value >= 1 && value <= 65535;
}

/* "host:port" or "[address]:port". */
static bool read_address(struct tcp *tcp, const char *address)
{
    const char *colon = strrchr(address, ':');
    if (!colon || colon == address || !is_port(colon + 1))
        return false;
    const char *host = address;
    size_t length = (size_t)(colon - address);
    if (host[0] == '[') {
        if (length < 3 || colon[-1] != ']')
            return false;
        host++;
        length -= 2;
    }
    if (length >= sizeof tcp->host || strcspn(host, ", /") < length)
        return false;
    snprintf(tcp->host, sizeof tcp->host, "%.*s", (int)length, host);
    snprintf(tcp->port, sizeof tcp->port, "%s", colon + 1);
    return true;
}

static enum status create(const char *address, const struct settings *settings, void **self,
                          struct complaint *complaint)
{
    (void)settings;
    struct tcp *tcp = calloc(1, sizeof *tcp);
    if (!tcp)
        return complain(complaint, STATUS_MEMORY, "no memory for a TCP input");
    tcp->fd = -1;
    if (!read_address(tcp, address)) {
        free(tcp);
        return complain(complaint, STATUS_BAD_USAGE,
                        "\"%.80s\" is not HOST:PORT, like 192.168.1.20:10110 (port 1 to 65535)",
                        address);
    }
    *self = tcp;
    return STATUS_OK;
}

/* --- looking up */

static void prepare_request(struct tcp *tcp, int flags)
{
    tcp->hints = (struct addrinfo){
        .ai_family = AF_UNSPEC, .ai_socktype = SOCK_STREAM, .ai_flags = flags | AI_NUMERICSERV};
    tcp->request =
        (struct gaicb){.ar_name = tcp->host, .ar_service = tcp->port, .ar_request = &tcp->hints};
}

static void take_addresses(struct tcp *tcp, struct addrinfo *found)
{
    tcp->found = found;
    tcp->next = found;
    tcp->error = 0;
    tcp->state = TCP_CONNECTING;
}

static enum status open_tcp(void *self, struct complaint *complaint)
{
    struct tcp *tcp = self;
    struct addrinfo *found = NULL;
    struct gaicb *requests[] = {&tcp->request};
    tcp->state = TCP_LOOKING_UP;
    if (tcp->looking_up)
        return STATUS_OK; /* the resolver still works on the same question */
    prepare_request(tcp, AI_NUMERICHOST);
    if (getaddrinfo(tcp->host, tcp->port, &tcp->hints, &found) == 0) {
        take_addresses(tcp, found);
        return STATUS_OK;
    }
    prepare_request(tcp, 0);
    int answer = getaddrinfo_a(GAI_NOWAIT, requests, 1, NULL);
    tcp->looking_up = answer == 0;
    if (answer != 0) {
        tcp->state = TCP_CLOSED;
        return complain(complaint, STATUS_IO, "the name cannot be looked up: %s",
                        gai_strerror(answer));
    }
    return STATUS_OK;
}

/* --- connecting */

static void close_socket(struct tcp *tcp)
{
    if (tcp->fd >= 0)
        close(tcp->fd);
    tcp->fd = -1;
}

static void close_tcp(void *self)
{
    struct tcp *tcp = self;
    close_socket(tcp);
    if (tcp->found)
        freeaddrinfo(tcp->found);
    tcp->found = NULL;
    tcp->next = NULL;
    tcp->state = TCP_CLOSED;
}

static void destroy(void *self)
{
    struct tcp *tcp = self;
    if (!tcp)
        return;
    /* A question that cannot be taken back keeps its memory: the resolver will still write to
     * it. */
    if (tcp->looking_up && gai_cancel(&tcp->request) == EAI_NOTCANCELED)
        return;
    if (tcp->looking_up && tcp->request.ar_result)
        freeaddrinfo(tcp->request.ar_result);
    free(tcp);
}

/* A gateway that loses its power sends no end: the system's own probes find that out. */
static void watch_connection(int fd)
{
    const int on = 1, idle = 10, interval = 5, count = 3; /* s, s, probes */
    setsockopt(fd, SOL_SOCKET, SO_KEEPALIVE, &on, sizeof on);
    setsockopt(fd, IPPROTO_TCP, TCP_KEEPIDLE, &idle, sizeof idle);
    setsockopt(fd, IPPROTO_TCP, TCP_KEEPINTVL, &interval, sizeof interval);
    setsockopt(fd, IPPROTO_TCP, TCP_KEEPCNT, &count, sizeof count);
}

/* Begins with the next address that lets us; false if there is none left. */
static bool try_next(struct tcp *tcp, int64_t now)
{
    for (; tcp->next; tcp->error = errno) {
        const struct addrinfo *to = tcp->next;
        tcp->next = to->ai_next;
        close_socket(tcp);
        tcp->fd = socket(to->ai_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
        if (tcp->fd < 0)
            continue;
        if (connect(tcp->fd, to->ai_addr, to->ai_addrlen) == 0 || errno == EINPROGRESS) {
            tcp->give_up_at = now + CONNECT_NS;
            return true;
        }
    }
    close_socket(tcp);
    return false;
}

/* 0: connected; EINPROGRESS: wait; else why not. */
static int connection_error(const struct tcp *tcp, int64_t now)
{
    struct pollfd wait = {.fd = tcp->fd, .events = POLLOUT};
    int error = 0;
    socklen_t length = sizeof error;
    if (tcp->fd < 0)
        return tcp->error;
    if (poll(&wait, 1, 0) <= 0)
        return now >= tcp->give_up_at ? ETIMEDOUT : EINPROGRESS;
    getsockopt(tcp->fd, SOL_SOCKET, SO_ERROR, &error, &length);
    return error;
}

static enum input_answer look_up(struct tcp *tcp, struct complaint *complaint)
{
    int answer = gai_error(&tcp->request);
    if (answer == EAI_INPROGRESS)
        return INPUT_OPENING;
    tcp->looking_up = false;
    if (answer == 0) {
        take_addresses(tcp, tcp->request.ar_result);
        tcp->request.ar_result = NULL;
        return INPUT_READ;
    }
    complain(complaint, STATUS_NOT_FOUND, "the name cannot be looked up: %s", gai_strerror(answer));
    return INPUT_GONE;
}

static enum input_answer connect_on(struct tcp *tcp, int64_t now, struct complaint *complaint)
{
    while (tcp->fd >= 0 || try_next(tcp, now)) {
        int error = connection_error(tcp, now);
        if (error == EINPROGRESS)
            return INPUT_OPENING;
        if (error == 0) {
            watch_connection(tcp->fd);
            tcp->state = TCP_OPEN;
            return INPUT_READ;
        }
        tcp->error = error;
        close_socket(tcp);
    }
    complain(complaint, STATUS_IO, "no connection: %s", strerror(tcp->error));
    return INPUT_GONE;
}

/* --- reading */

static int fd_of(const void *self, uint32_t *events)
{
    const struct tcp *tcp = self;
    *events = tcp->state == TCP_OPEN ? EPOLLIN | EPOLLRDHUP : EPOLLOUT;
    return tcp->fd >= 0 ? tcp->fd : INPUT_NO_FD;
}

static enum input_answer take_bytes(struct tcp *tcp, int64_t now, struct intake *intake,
                                    unsigned number, struct complaint *complaint)
{
    for (int i = 0; i < READS_A_WAKING; i++) {
        ssize_t count = recv(tcp->fd, tcp->bytes, sizeof tcp->bytes, 0);
        if (count > 0) {
            intake_bytes(intake, number, now, tcp->bytes, (size_t)count);
        } else if (count == 0) {
            complain(complaint, STATUS_IO, "the other end closed the connection");
            return INPUT_GONE;
        } else if (errno == EAGAIN || errno == EINTR) {
            return INPUT_READ;
        } else {
            complain(complaint, STATUS_IO, "the connection broke: %s", strerror(errno));
            return INPUT_GONE;
        }
    }
    return INPUT_READ;
}

static enum input_answer read_tcp(void *self, const struct moment *now, struct intake *intake,
                                  unsigned number, struct complaint *complaint)
{
    struct tcp *tcp = self;
    enum input_answer answer = INPUT_READ;
    if (tcp->state == TCP_LOOKING_UP)
        answer = look_up(tcp, complaint);
    if (answer == INPUT_READ && tcp->state == TCP_CONNECTING)
        answer = connect_on(tcp, now->at, complaint);
    if (answer == INPUT_READ)
        answer = take_bytes(tcp, now->at, intake, number, complaint);
    return answer;
}

const struct input_driver input_tcp = {
    .name = "tcp",
    .usage = "tcp:HOST:PORT   sentences from a gateway that serves them over TCP",
    .create = create,
    .open = open_tcp,
    .fd = fd_of,
    .read = read_tcp,
    .close = close_tcp,
    .destroy = destroy,
};
