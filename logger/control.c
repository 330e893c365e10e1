/* control.c - see control.h. */
#include "control.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/file.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#define NS_PER_S INT64_C(1000000000)
#define PATH_ROOM 4096
#define ABOUT_LISTENER CONTROL_CLIENTS_MAX
#define LOCK_TRIES 100 /* two seconds at most: who holds the lock only needs some milliseconds */
#define LOCK_WAIT_NS 20000000
#define REST_NS NS_PER_S /* with no descriptor left for a client, one waits so long at the door */

struct client {
    int fd; /* -1: free */
    unsigned uid;
    int64_t until; /* ns, when patience ends */
    size_t asked;  /* bytes of the request so far */
    char request[REQUEST_LINE_MAX + 2];
    char *reply; /* not NULL: it is being sent */
    size_t reply_length, sent;
};

struct control {
    struct control_host host;
    char path[PATH_ROOM];
    dev_t device; /* of the socket's name, so that it is known again at the end */
    ino_t inode;
    int listener, epoll_fd;
    int64_t rest_until; /* ns, nobody is let in before; 0: not at rest */
    struct client clients[CONTROL_CLIENTS_MAX];
};

/* --- addresses */

/* Names of sockets are short. A longer path is reached through its folder, which is opened. */
struct place {
    struct sockaddr_un address;
    int folder; /* -1: not needed */
};

static bool place_short(struct place *place, const char *path)
{
    place->folder = -1;
    if (strlen(path) >= sizeof place->address.sun_path)
        return false;
    strcpy(place->address.sun_path, path);
    return true;
}

static bool find_place(struct place *place, const char *path)
{
    char folder[PATH_ROOM];
    *place = (struct place){.address.sun_family = AF_UNIX};
    if (place_short(place, path))
        return true;
    const char *slash = strrchr(path, '/');
    if (!slash || (size_t)(slash - path) >= sizeof folder || strlen(slash) > 64) {
        errno = ENAMETOOLONG;
        return false;
    }
    snprintf(folder, sizeof folder, "%.*s", slash == path ? 1 : (int)(slash - path), path);
    place->folder = open(folder, O_PATH | O_DIRECTORY | O_CLOEXEC);
    snprintf(place->address.sun_path, sizeof place->address.sun_path, "/proc/self/fd/%d%s",
             place->folder, slash);
    return place->folder >= 0;
}

static void leave_place(const struct place *place)
{
    int error = errno;
    if (place->folder >= 0)
        close(place->folder);
    errno = error;
}

int control_connect(const char *path)
{
    struct place place;
    const struct timeval patience = {CONTROL_PATIENCE_S, 0};
    if (!find_place(&place, path))
        return -1;
    int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (fd >= 0) {
        setsockopt(fd, SOL_SOCKET, SO_SNDTIMEO, &patience, sizeof patience);
        setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &patience, sizeof patience);
    }
    if (fd >= 0 && connect(fd, (struct sockaddr *)&place.address, sizeof place.address) != 0) {
        int error = errno;
        close(fd);
        errno = error;
        fd = -1;
    }
    leave_place(&place);
    return fd;
}

/* --- opening */

static enum status cannot(const char *path, struct complaint *complaint)
{
    return complain(complaint, errno == ENOENT ? STATUS_NOT_FOUND : STATUS_IO,
                    "the control socket %s cannot be made: %s", path, strerror(errno));
}

/* Two loggers that begin at once must not take each other's name for one that a dead logger left:
 * between looking at the name and listening under it, the folder is locked. Returns the folder, or
 * -1 without a lock: it cannot be opened, knows no locks, or is held for longer than any logger
 * would. Then we go on as one that begins alone. */
static int lock_folder(const char *path)
{
    char folder[PATH_ROOM];
    const char *slash = strrchr(path, '/');
    snprintf(folder, sizeof folder, "%.*s",
             slash == path ? 1
             : slash       ? (int)(slash - path)
                           : 1,
             slash ? path : ".");
    int fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (fd < 0)
        return -1;
    for (int tries = 0; flock(fd, LOCK_EX | LOCK_NB) != 0; tries++) {
        if (errno != EWOULDBLOCK || tries == LOCK_TRIES) {
            close(fd);
            return -1;
        }
        nanosleep(&(const struct timespec){0, LOCK_WAIT_NS}, NULL);
    }
    return fd;
}

/* Takes away the name that a dead logger left; nothing else. Only a refused connection shows that
 * nobody listens: a socket of another kind, or one that we may not connect to, may be in use. */
static enum status clear_name(const char *path, struct complaint *complaint)
{
    struct stat about;
    if (lstat(path, &about) != 0)
        return STATUS_OK;
    if (!S_ISSOCK(about.st_mode))
        return complain(complaint, STATUS_EXISTS,
                        "%s is there and is no socket; choose another name for the control socket",
                        path);
    int fd = control_connect(path);
    if (fd >= 0 || errno == EAGAIN) {
        if (fd >= 0)
            close(fd);
        return complain(complaint, STATUS_EXISTS, "another logger listens at %s", path);
    }
    if (errno == ENOENT) /* it ended meanwhile */
        return STATUS_OK;
    if (errno != ECONNREFUSED)
        return complain(complaint, STATUS_EXISTS,
                        "%s is there and cannot be looked at (%s); choose another name for the "
                        "control socket",
                        path, strerror(errno));
    return unlink(path) == 0 ? STATUS_OK : cannot(path, complaint);
}

/* The mode is that of the socket from its first moment, whatever the umask takes away. */
static bool bind_it(struct control *control)
{
    struct place place;
    struct stat about;
    if (!find_place(&place, control->path))
        return false;
    fchmod(control->listener, 0660);
    bool bound =
        bind(control->listener, (struct sockaddr *)&place.address, sizeof place.address) == 0 &&
        chmod(control->path, 0660) == 0 && stat(control->path, &about) == 0;
    leave_place(&place);
    if (!bound)
        return false;
    control->device = about.st_dev;
    control->inode = about.st_ino;
    return listen(control->listener, CONTROL_CLIENTS_MAX) == 0;
}

static bool watch_fd(const struct control *control, int fd, uint32_t events, uint32_t about)
{
    struct epoll_event event = {.events = events, .data.u32 = about};
    if (epoll_ctl(control->epoll_fd, EPOLL_CTL_MOD, fd, &event) == 0)
        return true;
    return epoll_ctl(control->epoll_fd, EPOLL_CTL_ADD, fd, &event) == 0;
}

/* The name is free, or was left by a dead logger: listens under it. */
static enum status listen_at_name(struct control *control, struct complaint *complaint)
{
    enum status status = clear_name(control->path, complaint);
    if (status == STATUS_OK && !bind_it(control))
        status = cannot(control->path, complaint);
    return status;
}

static enum status begin(struct control *control, struct complaint *complaint)
{
    control->epoll_fd = epoll_create1(EPOLL_CLOEXEC);
    control->listener = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (control->epoll_fd < 0 || control->listener < 0)
        return cannot(control->path, complaint);
    int folder = lock_folder(control->path);
    enum status status = listen_at_name(control, complaint);
    if (folder >= 0)
        close(folder);
    if (status == STATUS_OK && !watch_fd(control, control->listener, EPOLLIN, ABOUT_LISTENER))
        status = cannot(control->path, complaint);
    return status;
}

enum status control_open(const char *path, const struct control_host *host, struct control **out,
                         struct complaint *complaint)
{
    struct control *control = calloc(1, sizeof *control);
    if (!control)
        return complain(complaint, STATUS_MEMORY, "no memory left for the control socket");
    control->host = *host;
    control->listener = control->epoll_fd = -1;
    for (size_t i = 0; i < CONTROL_CLIENTS_MAX; i++)
        control->clients[i].fd = -1;
    if (snprintf(control->path, sizeof control->path, "%s", path) >= PATH_ROOM) {
        free(control);
        return complain(complaint, STATUS_BAD_USAGE, "the path of the control socket is too long");
    }
    enum status status = begin(control, complaint);
    if (status == STATUS_OK)
        *out = control;
    else
        control_close(control);
    return status;
}

int control_fd(const struct control *control)
{
    return control->epoll_fd;
}

/* --- clients */

static void dismiss(struct client *client)
{
    close(client->fd);
    free(client->reply);
    memset(client, 0, sizeof *client);
    client->fd = -1;
}

static struct client *place_for_client(struct control *control)
{
    struct client *oldest = &control->clients[0];
    for (size_t i = 0; i < CONTROL_CLIENTS_MAX; i++) {
        struct client *client = &control->clients[i];
        if (client->fd < 0)
            return client;
        if (client->until < oldest->until)
            oldest = client;
    }
    dismiss(oldest);
    return oldest;
}

/* Whoever waits stays there, and would wake the loop again and again. */
static void rest(struct control *control, int64_t now)
{
    if (watch_fd(control, control->listener, 0, ABOUT_LISTENER))
        control->rest_until = now + REST_NS;
}

static void end_rest(struct control *control)
{
    if (watch_fd(control, control->listener, EPOLLIN, ABOUT_LISTENER))
        control->rest_until = 0;
}

static void welcome(struct control *control, int64_t now)
{
    struct ucred who;
    socklen_t length = sizeof who;
    int fd = accept4(control->listener, NULL, NULL, SOCK_CLOEXEC | SOCK_NONBLOCK);
    if (fd < 0) {
        if (errno == EMFILE || errno == ENFILE || errno == ENOBUFS || errno == ENOMEM)
            rest(control, now);
        return;
    }
    struct client *client = place_for_client(control);
    client->fd = fd;
    client->until = now + CONTROL_PATIENCE_S * NS_PER_S;
    client->uid = (unsigned)-1;
    if (getsockopt(fd, SOL_SOCKET, SO_PEERCRED, &who, &length) == 0)
        client->uid = who.uid;
    if (!watch_fd(control, fd, EPOLLIN, (uint32_t)(client - control->clients)))
        dismiss(client);
}

/* The words of the host; NULL if there is no memory for them. */
static char *ask_host(const struct control *control, const struct client *client,
                      const struct request *request, enum status *status,
                      struct complaint *complaint)
{
    char *words = NULL;
    size_t length = 0;
    FILE *reply = open_memstream(&words, &length);
    if (!reply)
        return NULL;
    *status = control->host.answer(control->host.self, request, client->uid, reply, complaint);
    if (fclose(reply) == 0)
        return words;
    free(words);
    return NULL;
}

static void write_reply(const struct control *control, struct client *client,
                        const struct request *request, enum status status,
                        struct complaint *complaint)
{
    char *words = NULL;
    if (status == STATUS_OK)
        words = ask_host(control, client, request, &status, complaint);
    int length = status == STATUS_OK
                     ? asprintf(&client->reply, CONTROL_DONE "%s", words ? words : "")
                     : asprintf(&client->reply, CONTROL_REFUSED "%s\n", complaint->text);
    if (length < 0)
        client->reply = NULL;
    client->reply_length = client->reply ? (size_t)length : 0;
    free(words);
}

static void speak(struct client *client)
{
    ssize_t count =
        write(client->fd, client->reply + client->sent, client->reply_length - client->sent);
    if (count < 0 && (errno == EAGAIN || errno == EINTR))
        return;
    client->sent += count > 0 ? (size_t)count : 0;
    if (count <= 0 || client->sent == client->reply_length)
        dismiss(client);
}

static void answer(struct control *control, struct client *client, size_t length)
{
    struct request request;
    struct complaint complaint = {""};
    enum status status = request_parse(client->request, length, &request, &complaint);
    write_reply(control, client, &request, status, &complaint);
    if (client->reply)
        speak(client); /* mostly all of it */
    if (client->fd >= 0 && (!client->reply || !watch_fd(control, client->fd, EPOLLOUT,
                                                        (uint32_t)(client - control->clients))))
        dismiss(client);
}

/* Takes what there is. A request ends with its line, or where the client ends sending. */
static void hear(struct control *control, struct client *client)
{
    size_t room = sizeof client->request - client->asked;
    ssize_t count = read(client->fd, client->request + client->asked, room);
    if (count < 0 && (errno == EAGAIN || errno == EINTR))
        return;
    if (count < 0 || (count == 0 && client->asked == 0)) {
        dismiss(client);
        return;
    }
    client->asked += (size_t)count;
    const char *feed = memchr(client->request, '\n', client->asked);
    if (feed)
        answer(control, client, (size_t)(feed - client->request));
    else if (count == 0 || client->asked == sizeof client->request)
        answer(control, client, client->asked);
}

static void serve(struct control *control, struct client *client)
{
    if (client->fd < 0)
        return;
    if (client->reply)
        speak(client);
    else
        hear(control, client);
}

static int64_t lose_patience(struct control *control, int64_t now)
{
    int64_t next = INT64_MAX;
    for (size_t i = 0; i < CONTROL_CLIENTS_MAX; i++) {
        struct client *client = &control->clients[i];
        if (client->fd >= 0 && now >= client->until)
            dismiss(client);
        else if (client->fd >= 0 && client->until < next)
            next = client->until;
    }
    return next;
}

int64_t control_step(struct control *control, int64_t now)
{
    struct epoll_event events[CONTROL_CLIENTS_MAX + 1];
    if (control->rest_until != 0 && now >= control->rest_until)
        end_rest(control);
    int count = epoll_wait(control->epoll_fd, events, CONTROL_CLIENTS_MAX + 1, 0);
    for (int i = 0; i < count; i++) {
        if (events[i].data.u32 < CONTROL_CLIENTS_MAX)
            serve(control, &control->clients[events[i].data.u32]);
    }
    for (int i = 0; i < count; i++)
        if (events[i].data.u32 == ABOUT_LISTENER)
            welcome(control, now);
    int64_t next = lose_patience(control, now);
    return control->rest_until != 0 && control->rest_until < next ? control->rest_until : next;
}

/* The name may have become that of another logger's socket meanwhile. */
static void take_away_name(const struct control *control)
{
    struct stat about;
    if (control->inode != 0 && lstat(control->path, &about) == 0 &&
        about.st_ino == control->inode && about.st_dev == control->device)
        unlink(control->path);
}

void control_close(struct control *control)
{
    if (!control)
        return;
    for (size_t i = 0; i < CONTROL_CLIENTS_MAX; i++)
        if (control->clients[i].fd >= 0)
            dismiss(&control->clients[i]);
    take_away_name(control);
    if (control->listener >= 0)
        close(control->listener);
    if (control->epoll_fd >= 0)
        close(control->epoll_fd);
    free(control);
}
