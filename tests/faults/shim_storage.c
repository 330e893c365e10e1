/* shim_storage.c - preloaded into a program under test: storage that stalls, fails or lies. What
 * it does stands in the file that SHIM_STORAGE names, read anew each time:
 *
 *   stall        writing to journals and run files, and making them durable, waits until this word
 *   is gone write_error  writing to a journal fails
 *   sync_error   making durable fails
 *   lie          making durable does nothing and says that it did
 *
 * If SHIM_ACKS names a file, a line is appended to it each time a journal was made durable: the
 * journal's name, how many bytes that were, and how many sentences of test data ("$PSRN,") are
 * among them. */
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

static bool path_of(int fd, char *path, size_t room)
{
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, room - 1);
    if (length <= 0)
        return false;
    path[length] = '\0';
    return true;
}

static bool is_file(int fd, const char *ending)
{
    char path[4096];
    return path_of(fd, path, sizeof path) && ends_with(path, ending);
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

static unsigned count_sentences(const char *path, off_t size)
{
    unsigned count = 0;
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    char *bytes = malloc((size_t)size + 1);
    if (fd >= 0 && bytes && pread(fd, bytes, (size_t)size, 0) == size)
        for (char *at = bytes; (at = memmem(at, (size_t)(bytes + size - at), "$PSRN,", 6)); at++)
            count++;
    free(bytes);
    if (fd >= 0)
        close(fd);
    return count;
}

static void acknowledge(int journal, off_t size)
{
    char line[300], path[4096];
    const char *acks = getenv("SHIM_ACKS");
    if (!acks || !path_of(journal, path, sizeof path) || !ends_with(path, ".journal"))
        return;
    int length = snprintf(line, sizeof line, "%.200s %lld %u\n", strrchr(path, '/') + 1,
                          (long long)size, count_sentences(path, size));
    int fd = open(acks, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0666);
    if (fd < 0 || dprintf(fd, "%s", line) != length)
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
    acknowledge(fd, about.st_size);
    return 0;
}

int fsync(int fd)
{
    int (*real)(int) = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
    return says("lie") ? 0 : real(fd);
}
