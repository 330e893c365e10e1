/* shim_storage.c - preloaded into a program under test: storage that stalls, fails or lies. What it does
 * stands in the file that SHIM_STORAGE names, read anew each time:
 *
 *   stall        writing to journals and run files, and making them durable, waits until this word is gone
 *   write_error  writing to a journal fails
 *   sync_error   making durable fails
 *   lie          making durable does nothing and says that it did
 *
 * If SHIM_ACKS names a file, the size of a journal that was made durable is appended to it each time. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

static bool ends_with(const char *text, const char *ending)
{
    size_t length = strlen(text), tail = strlen(ending);
    return length >= tail && strcmp(text + length - tail, ending) == 0;
}

static bool is_file(int fd, const char *ending)
{
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length <= 0)
        return false;
    path[length] = '\0';
    return ends_with(path, ending);
}

static bool says(const char *word)
{
    char text[32] = "";
    const char *path = getenv("SHIM_STORAGE");
    int fd = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    if (fd < 0)
        return false;
    ssize_t length = read(fd, text, sizeof text - 1);
    close(fd);
    return length >= 0 && strcmp(text, word) == 0;
}

static void stall(void)
{
    while (says("stall"))
        nanosleep(&(struct timespec){0, 10000000}, NULL);
}

ssize_t write(int fd, const void *bytes, size_t count)
{
    ssize_t (*real)(int, const void *, size_t) =
        (ssize_t(*)(int, const void *, size_t))dlsym(RTLD_NEXT, "write");
    bool journal = is_file(fd, ".journal");
    if (journal || is_file(fd, ".part"))
        stall();
    if (journal && says("write_error")) {
        errno = EIO;
        return -1;
    }
    return real(fd, bytes, count);
}

static void acknowledge(off_t size)
{
    char line[32];
    const char *path = getenv("SHIM_ACKS");
    int fd = path ? open(path, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0666) : -1;
    if (fd < 0)
        return;
    int length = snprintf(line, sizeof line, "%lld\n", (long long)size);
    if (pwrite(fd, line, (size_t)length, 0) != length) /* appends: O_APPEND */
        abort();
    close(fd);
}

int fdatasync(int fd)
{
    int (*real)(int) = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
    struct stat about;
    stall();
    if (says("sync_error")) {
        errno = EIO;
        return -1;
    }
    fstat(fd, &about);
    if (!says("lie") && real(fd) != 0)
        return -1;
    if (is_file(fd, ".journal"))
        acknowledge(about.st_size);
    return 0;
}
