/* shim_crash.c - preloaded into a program under test: the library that reads run files crashes. */
#include <signal.h>
#include <stdint.h>
#include <stdlib.h>

int64_t H5Fopen(const char *path, unsigned flags, int64_t access);

/* SHIM_CRASH: the number of the signal. */
int64_t H5Fopen(const char *path, unsigned flags, int64_t access)
{
    const char *number = getenv("SHIM_CRASH");
    (void)path;
    (void)flags;
    (void)access;
    raise(number ? atoi(number) : SIGABRT);
    return -1;
}
