/* ask.c - see ask.h. */
#include "ask.h"

#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

#include "control.h"

#define PATH_ROOM 4096
#define SERVICE_FOLDER "/run/searun" /* RuntimeDirectory= of searun-logger.service */
#define ANSWER_MAX ((size_t)4 * 1024 * 1024)

/* --- where */

static bool join(char *to, size_t room, const char *folder, const char *name)
{
    return snprintf(to, room, "%s/%s", folder, name) < (int)room;
}

/* Hidden there, so that copying a folder of runs does not stumble over it. */
static bool beside_runs(char *to, size_t room, const char *folder)
{
    return join(to, room, folder, "." CONTROL_NAME);
}

/* The first of what may be a list, separated by colons (systemd.exec(5)). */
static bool in_runtime_folder(char *to, size_t room)
{
    char folder[PATH_ROOM];
    const char *list = getenv("RUNTIME_DIRECTORY");
    if (!list || list[0] != '/')
        return false;
    snprintf(folder, sizeof folder, "%.*s", (int)strcspn(list, ":"), list);
    return join(to, room, folder, CONTROL_NAME);
}

static bool is_path(const struct settings *settings)
{
    return strcmp(settings->socket, "auto") != 0 && strcmp(settings->socket, "none") != 0;
}

bool ask_place(const struct settings *settings, const char *folder, char *to, size_t room)
{
    if (strcmp(settings->socket, "none") == 0)
        return false;
    if (is_path(settings))
        return snprintf(to, room, "%s", settings->socket) < (int)room;
    return in_runtime_folder(to, room) || beside_runs(to, room, folder);
}

/* --- asking */

static enum status cannot_ask(const char *path, int error, struct complaint *complaint)
{
    if (error == EACCES || error == EPERM)
        return complain(complaint, STATUS_IO,
                        "%s may not be used by this user: ask as root, or become a member of its "
                        "group (adduser NAME searun, then log in again)",
                        path);
    return complain(complaint, STATUS_IO, "the logger at %s does not answer: %s", path,
                    error == EAGAIN ? "it is too busy" : strerror(error));
}

static bool send_all(int fd, const char *text)
{
    for (size_t left = strlen(text); left > 0;) {
        ssize_t count = write(fd, text, left);
        if (count < 0 && errno == EINTR)
            continue;
        if (count <= 0)
            return false;
        text += count;
        left -= (size_t)count;
    }
    return shutdown(fd, SHUT_WR) == 0;
}

/* The whole answer, NUL-terminated; NULL with errno. */
static char *receive_all(int fd)
{
    size_t length = 0, room = 65536;
    char *text = malloc(room + 1);
    while (text) {
        ssize_t count = read(fd, text + length, room - length);
        if (count < 0 && errno == EINTR)
            continue;
        if (count <= 0) {
            text[length] = '\0';
            if (count == 0)
                return text;
            break;
        }
        length += (size_t)count;
        if (length < room)
            continue;
        char *more = room < ANSWER_MAX ? realloc(text, 2 * room + 1) : NULL;
        if (!more)
            break;
        text = more;
        room *= 2;
    }
    free(text);
    return NULL;
}

static enum status take_answer(const char *path, char *answer, FILE *out,
                               struct complaint *complaint)
{
    if (strncmp(answer, CONTROL_DONE, strlen(CONTROL_DONE)) == 0) {
        fputs(answer + strlen(CONTROL_DONE), out);
        return STATUS_OK;
    }
    if (strncmp(answer, CONTROL_REFUSED, strlen(CONTROL_REFUSED)) != 0)
        return complain(complaint, STATUS_IO, "the logger at %s gave no answer", path);
    char *words = answer + strlen(CONTROL_REFUSED);
    words[strcspn(words, "\n")] = '\0';
    return complain(complaint, STATUS_BAD_USAGE, "%s", words);
}

static enum status ask_at(int fd, const char *path, const char *request, FILE *out,
                          struct complaint *complaint)
{
    char *answer = send_all(fd, request) ? receive_all(fd) : NULL;
    enum status status =
        answer ? take_answer(path, answer, out, complaint) : cannot_ask(path, errno, complaint);
    free(answer);
    return status;
}

/* Places that were looked at, for the words if no logger is there. */
struct search {
    int fd;
    char path[PATH_ROOM]; /* of fd, or of a socket that is there but cannot be used */
    int error;            /* of that socket; 0 none */
    char looked[1024];
};

/* Whether the search is over. */
static bool look_at(struct search *search, const char *path)
{
    size_t length = strlen(search->looked);
    if (strstr(search->looked, path))
        return false;
    snprintf(search->looked + length, sizeof search->looked - length, "%s%s",
             length > 0 ? ", " : "", path);
    search->fd = control_connect(path);
    bool there = search->fd >= 0 || (errno != ENOENT && errno != ECONNREFUSED && errno != ENOTDIR);
    if (!there)
        return false;
    search->error = search->fd >= 0 ? 0 : errno;
    snprintf(search->path, sizeof search->path, "%s", path);
    return true;
}

static void look_everywhere(struct search *search, const struct settings *settings)
{
    char path[PATH_ROOM];
    if (is_path(settings)) {
        look_at(search, settings->socket);
        return;
    }
    if (in_runtime_folder(path, sizeof path) && look_at(search, path))
        return;
    if (beside_runs(path, sizeof path, settings->directory) && look_at(search, path))
        return;
    if (join(path, sizeof path, SERVICE_FOLDER, CONTROL_NAME))
        look_at(search, path);
}

enum status ask_logger(const struct settings *settings, const char *request, FILE *out,
                       struct complaint *complaint)
{
    struct search search = {.fd = -1};
    look_everywhere(&search, settings);
    if (search.error != 0)
        return cannot_ask(search.path, search.error, complaint);
    if (search.fd < 0)
        return complain(complaint, STATUS_NOT_FOUND,
                        "no logger is at work here: none listens at %s. Start one, or name its "
                        "control socket with --socket PATH (or the same --config or --directory "
                        "that it was started with)",
                        search.looked);
    struct sigaction ignore = {.sa_handler = SIG_IGN};
    sigaction(SIGPIPE, &ignore, NULL); /* a logger that ends meanwhile is told in words */
    enum status status = ask_at(search.fd, search.path, request, out, complaint);
    close(search.fd);
    return status;
}
