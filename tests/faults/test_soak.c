/* test_soak.c - a serial adapter that is pulled out and a gateway that goes away, again and again,
 * under one logger: it goes on recording each time, and takes no more descriptors or memory in the
 * end than in the beginning. SEARUN_SOAK_ROUNDS says how often (default 5); the longest waits are
 * printed. */
#include "cable.h"
#include "holding.h"

#include <poll.h>

static unsigned rounds;

static int64_t now_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (int64_t)now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

/* --- a gateway */

static int open_gateway(unsigned tcp_port)
{
    int server = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), yes = 1;
    struct sockaddr_in address = {.sin_family = AF_INET,
                                  .sin_port = htons((uint16_t)tcp_port),
                                  .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    setsockopt(server, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
    assert_int_equal(bind(server, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(listen(server, 4), 0);
    return server;
}

static int take_caller(int server)
{
    struct pollfd waiting = {server, POLLIN, 0};
    assert_int_equal(poll(&waiting, 1, PATIENCE_S * 1000), 1);
    return accept4(server, NULL, NULL, SOCK_CLOEXEC);
}

static void say_temperature(int peer, unsigned round)
{
    static struct stage_text words;
    words.length = 0;
    stage_add_sentence(&words, "IIMTW,%.1f,C", 10 + round % 100 / 10.0);
    assert_int_equal(write(peer, words.bytes, words.length), words.length);
}

/* --- the soak */

struct soak {
    struct program logger;
    struct cable cable;
    unsigned tcp_port;
    int server, peer;
    int64_t longest_serial_ms, longest_tcp_ms;
};

static void wait_for_port(struct soak *soak)
{
    int64_t begun = now_ms();
    while (flags_of_port(&soak->logger) < 0 && now_ms() - begun < PATIENCE_S * 1000)
        stage_nap();
    int64_t took = now_ms() - begun;
    soak->longest_serial_ms = took > soak->longest_serial_ms ? took : soak->longest_serial_ms;
}

static void wait_for_caller(struct soak *soak)
{
    int64_t begun = now_ms();
    soak->peer = take_caller(soak->server);
    int64_t took = now_ms() - begun;
    soak->longest_tcp_ms = took > soak->longest_tcp_ms ? took : soak->longest_tcp_ms;
}

/* Everything says something, goes away, and comes back. */
static void go_round(struct soak *soak, unsigned round)
{
    put_engine(&soak->cable, (int)(round % 100));
    say_temperature(soak->peer, round);
    for (int i = 0; i < 15; i++)
        stage_nap();
    pull_out(&soak->cable);
    close(soak->peer);
    close(soak->server);
    while (flags_of_port(&soak->logger) >= 0)
        stage_nap();
    soak->cable = plug_in();
    soak->server = open_gateway(soak->tcp_port);
    wait_for_port(soak);
    wait_for_caller(soak);
}

static void expect_all(const char *path)
{
    struct run *run = stage_open_run(path);
    assert_int_equal(stage_tally(run, 0, REASON_REOPENED), rounds);
    assert_int_equal(stage_tally(run, 1, REASON_REOPENED), rounds);
    assert_int_equal(stage_count(run, CHANNEL_ENGINE_SPEED), rounds);
    assert_int_equal(stage_count(run, CHANNEL_SEA_TEMPERATURE), rounds);
    run_close(run);
}

static void test_soak(void **state)
{
    (void)state;
    struct soak soak = {.longest_serial_ms = 0};
    struct holding before = {0, 0};
    char tcp[64];
    if (!prepare())
        skip();
    soak.tcp_port = stage_free_port(SOCK_STREAM);
    snprintf(tcp, sizeof tcp, "gw=tcp:127.0.0.1:%u", soak.tcp_port);
    soak.server = open_gateway(soak.tcp_port);
    soak.cable = plug_in();
    soak.logger =
        start_on_port("--input", "serial:/dev/ttyS0,38400", "--input", tcp, "--output",
                      stage_path("soak.h5"), "--set", "logger.reopen_longest=0.5", SMALL_RING);
    wait_for_port(&soak);
    wait_for_caller(&soak);
    soak.longest_serial_ms = soak.longest_tcp_ms = 0;
    for (unsigned round = 0; round < rounds; round++) {
        go_round(&soak, round);
        if (round + 1 == settled_after(rounds))
            before = holding_of(&soak.logger);
    }
    expect_no_growth(before, holding_of(&soak.logger));
    print_message("%u rounds; recording again after at most %lld ms (serial), %lld ms (TCP)\n",
                  rounds, (long long)soak.longest_serial_ms, (long long)soak.longest_tcp_ms);
    stage_stop(soak.logger, SIGINT, 0);
    pull_out(&soak.cable);
    close(soak.peer);
    close(soak.server);
    expect_all(stage_path("soak.h5"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_soak)};
    rounds = rounds_asked();
    return cmocka_run_group_tests(tests, stage_make, stage_remove);
}
