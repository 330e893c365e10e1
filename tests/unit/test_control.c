/* test_control.c - the name of the control socket: one logger has it, whoever else begins at the
 * same moment. What is asked there: test_request.c and tests/whole/test_logger_control.c. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#include "../../logger/control.h"

#define AT_ONCE 6

static char folder[200], path[256];

static int begin(void **state)
{
    (void)state;
    const char *base = getenv("TMPDIR");
    snprintf(folder, sizeof folder, "%s/searun-control-XXXXXX", base ? base : "/tmp");
    if (!mkdtemp(folder))
        return -1;
    snprintf(path, sizeof path, "%s/%s", folder, CONTROL_NAME);
    return 0;
}

static int end(void **state)
{
    (void)state;
    unlink(path);
    return rmdir(folder);
}

static enum status answer(void *self, const struct request *request, unsigned uid, FILE *reply,
                          struct complaint *complaint)
{
    (void)self, (void)request, (void)uid, (void)reply, (void)complaint;
    return STATUS_OK;
}

static const struct control_host host = {NULL, answer};

static bool is_readable(const struct control *control)
{
    struct pollfd it = {control_fd(control), POLLIN, 0};
    return poll(&it, 1, 0) == 1;
}

/* A socket of that kind with the name; nobody listens. */
static int bind_name(int kind)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    int fd = socket(AF_UNIX, kind | SOCK_CLOEXEC, 0);
    int here = open(".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    strcpy(address.sun_path, CONTROL_NAME); /* names of sockets are short: from inside the folder */
    assert_int_equal(chdir(folder), 0);
    assert_int_equal(bind(fd, (struct sockaddr *)&address, sizeof address), 0);
    assert_int_equal(fchdir(here), 0);
    close(here);
    return fd;
}

/* What a logger leaves that was killed. */
static void leave_dead_name(void)
{
    close(bind_name(SOCK_STREAM));
}

static bool is_reachable(void)
{
    int fd = control_connect(path);
    if (fd >= 0)
        close(fd);
    return fd >= 0;
}

static void test_dead_name_is_replaced(void **state)
{
    (void)state;
    struct control *control = NULL;
    struct complaint complaint = {""};
    struct stat about;
    leave_dead_name();
    assert_false(is_reachable());
    assert_int_equal(control_open(path, &host, &control, &complaint), STATUS_OK);
    assert_true(is_reachable());
    assert_int_equal(stat(path, &about), 0);
    assert_int_equal(about.st_mode & 07777, 0660);
    control_close(control);
    assert_int_equal(access(path, F_OK), -1);
}

static void test_second_is_told_and_first_goes_on(void **state)
{
    (void)state;
    struct control *first = NULL, *second = NULL;
    struct complaint complaint = {""};
    assert_int_equal(control_open(path, &host, &first, &complaint), STATUS_OK);
    assert_int_equal(control_open(path, &host, &second, &complaint), STATUS_EXISTS);
    assert_non_null(strstr(complaint.text, "another logger listens at "));
    assert_null(second);
    assert_true(is_reachable());
    control_close(first);
}

/* With no descriptor left nobody can be let in: the loop is not woken again and again for that, and
 * whoever waits is let in when there is one again. */
static void test_no_descriptor_left(void **state)
{
    (void)state;
    struct control *control = NULL;
    struct complaint complaint = {""};
    struct rlimit limit, none;
    const int64_t second = 1000000000;
    char reply[16] = "";
    const char *preload = getenv("LD_PRELOAD");
    if (preload && strstr(preload, "vgpreload"))
        skip(); /* valgrind takes the client in, and drops it, before it refuses */
    assert_int_equal(control_open(path, &host, &control, &complaint), STATUS_OK);
    int client = control_connect(path);
    assert_int_equal(write(client, "status\n", 7), 7);
    assert_true(is_readable(control));
    assert_int_equal(getrlimit(RLIMIT_NOFILE, &limit), 0);
    none = (struct rlimit){(rlim_t)client + 1, limit.rlim_max}; /* the highest in use */
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &none), 0);
    int64_t again = control_step(control, second);
    bool woken = is_readable(control);
    assert_int_equal(setrlimit(RLIMIT_NOFILE, &limit), 0);
    assert_false(woken);
    assert_int_equal(again, 2 * second);
    control_step(control, second + second / 2);
    assert_false(is_readable(control));
    control_step(control, again); /* lets it in */
    assert_true(is_readable(control));
    control_step(control, again); /* hears and answers */
    assert_in_range(read(client, reply, sizeof reply - 1), strlen(CONTROL_DONE), sizeof reply);
    assert_string_equal(reply, CONTROL_DONE);
    close(client);
    control_close(control);
}

static void test_what_is_no_socket_stays(void **state)
{
    (void)state;
    struct control *control = NULL;
    struct complaint complaint = {""};
    close(open(path, O_WRONLY | O_CREAT | O_CLOEXEC, 0600));
    assert_int_equal(control_open(path, &host, &control, &complaint), STATUS_EXISTS);
    assert_non_null(strstr(complaint.text, "is no socket"));
    assert_int_equal(access(path, F_OK), 0);
    unlink(path);
}

/* A name that cannot be connected to as ours is not for that a dead one: another program takes
 * datagrams here. */
static void test_socket_of_another_kind_stays(void **state)
{
    (void)state;
    struct control *control = NULL;
    struct complaint complaint = {""};
    int other = bind_name(SOCK_DGRAM);
    assert_int_equal(control_open(path, &host, &control, &complaint), STATUS_EXISTS);
    assert_null(control);
    assert_non_null(strstr(complaint.text, "choose another name"));
    assert_int_equal(access(path, F_OK), 0);
    close(other);
}

/* Anybody who can read the folder can lock it: that must not keep a logger from its socket. */
static void test_locked_folder_is_no_obstacle(void **state)
{
    (void)state;
    struct control *control = NULL;
    struct complaint complaint = {""};
    int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    assert_int_equal(flock(fd, LOCK_EX), 0);
    assert_int_equal(control_open(path, &host, &control, &complaint), STATUS_OK);
    assert_true(is_reachable());
    control_close(control);
    close(fd);
}

/* One of those that begin at once: waits for the start, tries, says how it went, holds what it has
 * until told. */
static void begin_as_one(int start, int said, int over)
{
    struct control *control = NULL;
    struct complaint complaint = {""};
    char byte;
    (void)!read(start, &byte, 1);
    enum status status = control_open(path, &host, &control, &complaint);
    byte = status == STATUS_OK                                                   ? 'y'
           : status == STATUS_EXISTS && strstr(complaint.text, "another logger") ? 'n'
                                                                                 : '?';
    (void)!write(said, &byte, 1);
    (void)!read(over, &byte, 1);
    control_close(control);
    _exit(0);
}

static void race(bool dead_name)
{
    int start[2], said[2], over[2], yes = 0, no = 0;
    char answers[AT_ONCE];
    pid_t pids[AT_ONCE];
    assert_int_equal(pipe2(start, O_CLOEXEC) | pipe2(said, O_CLOEXEC) | pipe2(over, O_CLOEXEC), 0);
    if (dead_name)
        leave_dead_name();
    for (int i = 0; i < AT_ONCE; i++) {
        pids[i] = fork();
        if (pids[i] == 0) {
            close(start[1]);
            close(over[1]);
            begin_as_one(start[0], said[1], over[0]);
        }
    }
    close(start[1]); /* now */
    for (int i = 0; i < AT_ONCE; i++) {
        assert_int_equal(read(said[0], &answers[i], 1), 1);
        yes += answers[i] == 'y';
        no += answers[i] == 'n';
    }
    bool reachable = is_reachable();
    close(over[1]);
    for (int i = 0; i < AT_ONCE; i++)
        waitpid(pids[i], NULL, 0);
    close(start[0]), close(said[0]), close(said[1]), close(over[0]);
    assert_int_equal(yes, 1);
    assert_int_equal(no, AT_ONCE - 1);
    assert_true(reachable);
    assert_int_equal(access(path, F_OK), -1);
}

static void test_one_of_many_gets_the_name(void **state)
{
    (void)state;
    for (int round = 0; round < 60; round++)
        race(round % 2 == 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_dead_name_is_replaced, begin, end),
        cmocka_unit_test_setup_teardown(test_second_is_told_and_first_goes_on, begin, end),
        cmocka_unit_test_setup_teardown(test_no_descriptor_left, begin, end),
        cmocka_unit_test_setup_teardown(test_what_is_no_socket_stays, begin, end),
        cmocka_unit_test_setup_teardown(test_socket_of_another_kind_stays, begin, end),
        cmocka_unit_test_setup_teardown(test_locked_folder_is_no_obstacle, begin, end),
        cmocka_unit_test_setup_teardown(test_one_of_many_gets_the_name, begin, end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
