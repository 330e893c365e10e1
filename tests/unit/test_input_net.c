/* test_input_net.c - the UDP and TCP drivers on the loopback interface. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <net/if.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cmocka.h>

#include "../../logger/input.h"
#include "intake_bench.h"

#define RING ((size_t)1 << 20)
#define LINE "$IIMTW,15.2,C*15\r\n"

static const struct settings settings = {.receive_buffer = 1024};

/* --- helpers */

static struct sockaddr_in address_of(const char *host, uint16_t port)
{
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_port = htons(port)};
    assert_int_equal(inet_pton(AF_INET, host, &address.sin_addr), 1);
    return address;
}

/* A port that is free now. */
static uint16_t free_port(int type)
{
    struct sockaddr_in address = address_of("127.0.0.1", 0);
    socklen_t length = sizeof address;
    int fd = socket(AF_INET, type, 0);
    assert_int_equal(bind(fd, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(getsockname(fd, (struct sockaddr *)&address, &length), 0);
    close(fd);
    return ntohs(address.sin_port);
}

/* `form` has a % where the port belongs. */
static void *create(const struct input_driver *driver, const char *form, int port)
{
    char text[128];
    void *self = NULL;
    struct complaint complaint = {""};
    size_t head = strcspn(form, "%");
    snprintf(text, sizeof text, "%.*s%d%s", (int)head, form, port, form + head + 1);
    enum status status = driver->create(text, &settings, &self, &complaint);
    if (status != STATUS_OK)
        print_message("%s\n", complaint.text);
    assert_int_equal(status, STATUS_OK);
    return self;
}

static void open_it(const struct input_driver *driver, void *self)
{
    struct complaint complaint = {""};
    enum status status = driver->open(self, &complaint);
    if (status != STATUS_OK)
        print_message("%s\n", complaint.text);
    assert_int_equal(status, STATUS_OK);
}

static void send_from(const char *source, const char *host, int port, const void *bytes,
                      size_t count)
{
    struct sockaddr_in to = address_of(host, (uint16_t)port), from = address_of(source, 0);
    int fd = socket(AF_INET, SOCK_DGRAM, 0);
    struct ip_mreqn interface = {.imr_ifindex = (int)if_nametoindex("lo")};
    assert_int_equal(bind(fd, (struct sockaddr *)&from, sizeof from), 0);
    setsockopt(fd, IPPROTO_IP, IP_MULTICAST_IF, &interface, sizeof interface);
    assert_int_equal(sendto(fd, bytes, count, 0, (struct sockaddr *)&to, sizeof to), count);
    close(fd);
}

/* Waits as the loop does and reads once. */
static enum input_answer read_once(const struct input_driver *driver, void *self, int64_t at,
                                   struct complaint *complaint)
{
    uint32_t events;
    int fd = driver->fd(self, &events);
    struct pollfd wait = {.fd = fd, .events = (short)events};
    struct moment now = {at, 0};
    if (fd >= 0)
        poll(&wait, 1, 5000);
    else
        nanosleep(&(struct timespec){0, 5000000}, NULL);
    return driver->read(self, &now, &bench.intake, 0, complaint);
}

static void end_it(const struct input_driver *driver, void *self)
{
    driver->close(self);
    driver->close(self); /* harmless */
    driver->destroy(self);
}

/* --- UDP */

static void test_udp_plain(void **state)
{
    (void)state;
    uint16_t port = free_port(SOCK_DGRAM);
    struct complaint complaint = {""};
    begin(RING);
    void *self = create(&input_udp, "%", port);
    open_it(&input_udp, self);
    send_from("127.0.0.1", "127.0.0.1", port, LINE LINE, 2 * strlen(LINE));
    send_from("127.0.0.1", "127.0.0.1", port, "", 0);
    send_from("127.0.0.1", "127.0.0.1", port, "UdPbC\0" LINE, 6 + strlen(LINE));
    send_from("127.0.0.1", "127.0.0.1", port, "RaUdP\0" LINE, 6 + strlen(LINE));
    assert_int_equal(read_once(&input_udp, self, NS_PER_S, &complaint), INPUT_READ);
    assert_int_equal(counted(0, REASON_SENTENCES), 3);
    assert_int_equal(counted(0, REASON_OTHER_DATAGRAM), 1);
    end_it(&input_udp, self);
    finish(NS_PER_S);
}

/* Of senders on both sides of each edge of 127.0.0.8/29, those within are heard. */
static void expect_two_of_four(const char *address, uint16_t port)
{
    struct complaint complaint = {""};
    begin(RING);
    void *self = create(&input_udp, address, port);
    open_it(&input_udp, self);
    send_from("127.0.0.7", "127.0.0.1", port, LINE, strlen(LINE));
    send_from("127.0.0.8", "127.0.0.1", port, LINE, strlen(LINE));
    send_from("127.0.0.15", "127.0.0.1", port, LINE, strlen(LINE));
    send_from("127.0.0.16", "127.0.0.1", port, LINE, strlen(LINE));
    assert_int_equal(read_once(&input_udp, self, NS_PER_S, &complaint), INPUT_READ);
    assert_int_equal(counted(0, REASON_SENTENCES), 2);
    assert_int_equal(counted(0, REASON_REFUSED_SENDER), 2);
    end_it(&input_udp, self);
    finish(NS_PER_S);
}

static void test_udp_senders(void **state)
{
    (void)state;
    uint16_t port = free_port(SOCK_DGRAM);
    expect_two_of_four("0.0.0.0:%,from=10.0.0.0/8,from=127.0.0.8/29", port);
}

/* Without an address only this machine is heard: the socket is bound to 127.0.0.1. */
static void test_udp_loopback_by_default(void **state)
{
    (void)state;
    uint16_t port = free_port(SOCK_DGRAM);
    uint32_t events;
    struct sockaddr_in local;
    socklen_t length = sizeof local;
    void *self = create(&input_udp, "%", port);
    open_it(&input_udp, self);
    int fd = input_udp.fd(self, &events);
    assert_int_equal(getsockname(fd, (struct sockaddr *)&local, &length), 0);
    assert_int_equal(ntohl(local.sin_addr.s_addr), INADDR_LOOPBACK);
    assert_int_equal(events, EPOLLIN);
    end_it(&input_udp, self);
}

static void test_udp_multicast(void **state)
{
    (void)state;
    uint16_t port = free_port(SOCK_DGRAM);
    struct complaint complaint = {""};
    begin(RING);
    void *self = create(&input_udp, "239.192.0.1:%,interface=lo", port);
    open_it(&input_udp, self);
    send_from("127.0.0.1", "239.192.0.1", port, LINE, strlen(LINE));
    assert_int_equal(read_once(&input_udp, self, NS_PER_S, &complaint), INPUT_READ);
    assert_int_equal(counted(0, REASON_SENTENCES), 1);
    end_it(&input_udp, self);
    self = create(&input_udp, "239.192.0.1:%,interface=nosuch0", port);
    assert_int_equal(input_udp.open(self, &complaint), STATUS_IO);
    assert_non_null(strstr(complaint.text, "multicast group"));
    end_it(&input_udp, self);
    finish(NS_PER_S);
}

static void test_udp_port_taken(void **state)
{
    (void)state;
    uint16_t port = free_port(SOCK_DGRAM);
    struct complaint complaint = {""};
    void *first = create(&input_udp, "%", port), *second = create(&input_udp, "%", port);
    open_it(&input_udp, first);
    assert_int_equal(input_udp.open(second, &complaint), STATUS_IO);
    assert_non_null(strstr(complaint.text, "another program listens there"));
    end_it(&input_udp, first);
    open_it(&input_udp, second); /* it opens once the port is free */
    end_it(&input_udp, second);
}

/* Whether a socket can be bound to an IPv6 address of this machine. */
static bool has_six(struct sockaddr_in6 address)
{
    int probe = socket(AF_INET6, SOCK_DGRAM, 0);
    bool has = probe >= 0 && bind(probe, (struct sockaddr *)&address, sizeof address) == 0;
    if (probe >= 0)
        close(probe);
    if (!has)
        print_message("not tested: this machine has no IPv6\n");
    return has;
}

static void test_udp_six(void **state)
{
    (void)state;
    uint16_t port = free_port(SOCK_DGRAM);
    struct complaint complaint = {""};
    struct sockaddr_in6 to = {.sin6_family = AF_INET6, .sin6_port = htons(port)};
    to.sin6_addr = (struct in6_addr)IN6ADDR_LOOPBACK_INIT;
    if (!has_six(to))
        skip();
    begin(RING);
    void *self = create(&input_udp, "[::1]:%,from=::/64", port);
    open_it(&input_udp, self);
    int probe = socket(AF_INET6, SOCK_DGRAM, 0);
    assert_int_equal(sendto(probe, LINE, strlen(LINE), 0, (struct sockaddr *)&to, sizeof to),
                     strlen(LINE));
    close(probe);
    assert_int_equal(read_once(&input_udp, self, NS_PER_S, &complaint), INPUT_READ);
    assert_int_equal(counted(0, REASON_SENTENCES), 1);
    end_it(&input_udp, self);
    finish(NS_PER_S);
}

/* Whether an IPv6 socket takes IPv4 datagrams here (ipv6(7), bindv6only). */
static bool takes_both(void)
{
    int only = 1, probe = socket(AF_INET6, SOCK_DGRAM, 0);
    socklen_t length = sizeof only;
    getsockopt(probe, IPPROTO_IPV6, IPV6_V6ONLY, &only, &length);
    close(probe);
    if (only)
        print_message("not tested: IPv6 sockets do not take IPv4 on this machine\n");
    return !only;
}

/* IPv4 senders of an IPv6 socket arrive as ::ffff:a.b.c.d and are judged by IPv4 networks. */
static void test_udp_four_in_six(void **state)
{
    (void)state;
    uint16_t port = free_port(SOCK_DGRAM);
    struct sockaddr_in6 any = {.sin6_family = AF_INET6, .sin6_port = htons(port)};
    if (!has_six(any) || !takes_both())
        skip();
    expect_two_of_four("[::]:%,from=2001:db8::/32,from=127.0.0.8/29", port);
}

/* More than the system's buffer holds: what it lost is counted by the system and told. */
static void test_udp_losses(void **state)
{
    (void)state;
    const uint64_t sent = 20000;
    uint16_t port = free_port(SOCK_DGRAM);
    struct complaint complaint = {""};
    begin(RING);
    bench.intake.patient = true;
    tape.silent = true;
    void *self = create(&input_udp, "%", port);
    open_it(&input_udp, self);
    struct sockaddr_in to = address_of("127.0.0.1", port);
    int fd = socket(AF_INET, SOCK_DGRAM, 0);
    for (uint64_t i = 0; i < sent; i++)
        sendto(fd, LINE, strlen(LINE), 0, (struct sockaddr *)&to, sizeof to);
    for (int i = 0; i < 1000; i++) {
        struct moment now = {NS_PER_S, 0};
        assert_int_equal(input_udp.read(self, &now, &bench.intake, 0, &complaint), INPUT_READ);
    }
    /* The counter comes with the next datagram that gets through. */
    sendto(fd, LINE, strlen(LINE), 0, (struct sockaddr *)&to, sizeof to);
    read_once(&input_udp, self, 2 * NS_PER_S, &complaint);
    close(fd);
    uint64_t got = counted(0, REASON_SENTENCES), lost = counted(0, REASON_KERNEL_LOST);
    print_message("%llu got, %llu lost\n", (unsigned long long)got, (unsigned long long)lost);
    assert_true(lost > 0);
    assert_int_equal(got + lost, sent + 1);
    end_it(&input_udp, self);
    finish(3 * NS_PER_S);
    assert_int_equal(tape.lost, lost);
}

/* --- TCP */

static int listen_on(uint16_t port, int backlog)
{
    struct sockaddr_in address = address_of("127.0.0.1", port);
    const int on = 1;
    int fd = socket(AF_INET, SOCK_STREAM, 0);
    setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
    assert_int_equal(bind(fd, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(listen(fd, backlog), 0);
    return fd;
}

/* Reads until it is open, as the loop would. */
static enum input_answer until_open(void *self, struct complaint *complaint)
{
    enum input_answer answer = INPUT_OPENING;
    for (int i = 0; i < 2000 && answer == INPUT_OPENING; i++)
        answer = read_once(&input_tcp, self, 0, complaint);
    return answer;
}

static void tcp_session(const char *form)
{
    uint16_t port = free_port(SOCK_STREAM);
    int server = listen_on(port, 5);
    char byte;
    struct complaint complaint = {""};
    begin(RING);
    void *self = create(&input_tcp, form, port);
    for (int round = 1; round <= 2; round++) {
        open_it(&input_tcp, self);
        enum input_answer answer = until_open(self, &complaint);
        if (answer != INPUT_READ)
            print_message("%s\n", complaint.text);
        assert_int_equal(answer, INPUT_READ);
        int peer = accept(server, NULL, NULL);
        assert_int_equal(write(peer, LINE, strlen(LINE)), strlen(LINE));
        assert_int_equal(read_once(&input_tcp, self, 0, &complaint), INPUT_READ);
        assert_int_equal(counted(0, REASON_SENTENCES), round);
        /* Not a byte came the other way. */
        assert_int_equal(recv(peer, &byte, 1, MSG_DONTWAIT), -1);
        assert_int_equal(errno, EAGAIN);
        close(peer);
        assert_int_equal(read_once(&input_tcp, self, 0, &complaint), INPUT_GONE);
        assert_string_equal(complaint.text, "the other end closed the connection");
        input_tcp.close(self);
    }
    end_it(&input_tcp, self);
    close(server);
    finish(NS_PER_S);
}

static void test_tcp_address(void **state)
{
    (void)state;
    tcp_session("127.0.0.1:%");
}

/* "localhost" goes through the resolver, perhaps to ::1 first, where nobody listens. */
static void test_tcp_name(void **state)
{
    (void)state;
    tcp_session("localhost:%");
}

static void test_tcp_refused(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    begin(RING);
    void *self = create(&input_tcp, "127.0.0.1:%", free_port(SOCK_STREAM));
    for (int round = 0; round < 3; round++) {
        open_it(&input_tcp, self);
        assert_int_equal(until_open(self, &complaint), INPUT_GONE);
        assert_string_equal(complaint.text, "no connection: Connection refused");
        input_tcp.close(self);
    }
    end_it(&input_tcp, self);
    finish(0);
}

static void test_tcp_unknown_name(void **state)
{
    (void)state;
    struct complaint complaint = {""};
    begin(RING);
    void *self = create(&input_tcp, "no-such-host.invalid:%", 10110); /* RFC 2606: never exists */
    open_it(&input_tcp, self);
    uint32_t events;
    assert_int_equal(input_tcp.fd(self, &events), INPUT_NO_FD);
    input_tcp.close(self); /* closed and opened again while the question is still asked */
    open_it(&input_tcp, self);
    enum input_answer answer = until_open(self, &complaint);
    if (answer != INPUT_OPENING) { /* no name server answers within the time: not ours to judge */
        assert_int_equal(answer, INPUT_GONE);
        assert_non_null(strstr(complaint.text, "the name cannot be looked up"));
    }
    end_it(&input_tcp, self);
    finish(0);
}

/* A peer that never answers the connection is given up after ten seconds of the loop's time. */
static void test_tcp_no_answer(void **state)
{
    (void)state;
    uint16_t port = free_port(SOCK_STREAM);
    int server = listen_on(port, 0), fill[8];
    struct sockaddr_in address = address_of("127.0.0.1", port);
    struct complaint complaint = {""};
    begin(RING);
    for (int i = 0; i < 8; i++) { /* the queue of the listener is full after one or two */
        fill[i] = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK, 0);
        connect(fill[i], (struct sockaddr *)&address, sizeof address);
    }
    void *self = create(&input_tcp, "127.0.0.1:%", port);
    open_it(&input_tcp, self);
    struct moment now = {0, 0};
    assert_int_equal(input_tcp.read(self, &now, &bench.intake, 0, &complaint), INPUT_OPENING);
    now.at = 9 * NS_PER_S;
    assert_int_equal(input_tcp.read(self, &now, &bench.intake, 0, &complaint), INPUT_OPENING);
    now.at = 10 * NS_PER_S;
    assert_int_equal(input_tcp.read(self, &now, &bench.intake, 0, &complaint), INPUT_GONE);
    assert_string_equal(complaint.text, "no connection: Connection timed out");
    end_it(&input_tcp, self);
    for (int i = 0; i < 8; i++)
        close(fill[i]);
    close(server);
    finish(0);
}

static int open_descriptors(void)
{
    int count = 0;
    for (int fd = 0; fd < 256; fd++)
        count += fcntl(fd, F_GETFD) >= 0;
    return count;
}

/* Two hundred times gone and back: not a descriptor is left behind. */
static void test_two_hundred_times(void **state)
{
    (void)state;
    uint16_t port = free_port(SOCK_STREAM);
    int server = listen_on(port, 5);
    struct complaint complaint = {""};
    begin(RING);
    void *tcp = create(&input_tcp, "127.0.0.1:%", port);
    void *refused = create(&input_tcp, "127.0.0.1:%", free_port(SOCK_STREAM));
    void *udp = create(&input_udp, "%", free_port(SOCK_DGRAM));
    int before = open_descriptors();
    for (int i = 0; i < 200; i++) {
        open_it(&input_udp, udp);
        open_it(&input_tcp, refused);
        assert_int_equal(until_open(refused, &complaint), INPUT_GONE);
        open_it(&input_tcp, tcp);
        assert_int_equal(until_open(tcp, &complaint), INPUT_READ);
        close(accept(server, NULL, NULL));
        assert_int_equal(read_once(&input_tcp, tcp, 0, &complaint), INPUT_GONE);
        input_tcp.close(tcp);
        input_tcp.close(refused);
        input_udp.close(udp);
    }
    assert_int_equal(open_descriptors(), before);
    input_tcp.destroy(tcp);
    input_tcp.destroy(refused);
    input_udp.destroy(udp);
    close(server);
    finish(0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_udp_plain),
        cmocka_unit_test(test_udp_senders),
        cmocka_unit_test(test_udp_loopback_by_default),
        cmocka_unit_test(test_udp_multicast),
        cmocka_unit_test(test_udp_port_taken),
        cmocka_unit_test(test_udp_six),
        cmocka_unit_test(test_udp_four_in_six),
        cmocka_unit_test(test_udp_losses),
        cmocka_unit_test(test_tcp_address),
        cmocka_unit_test(test_tcp_name),
        cmocka_unit_test(test_tcp_refused),
        cmocka_unit_test(test_tcp_unknown_name),
        cmocka_unit_test(test_tcp_no_answer),
        cmocka_unit_test(test_two_hundred_times),
    };
    int failed = cmocka_run_group_tests(tests, NULL, NULL);
    tape_clear();
    return failed;
}
