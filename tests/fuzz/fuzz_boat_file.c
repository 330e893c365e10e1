/* fuzz_boat_file.c - any bytes as the file of boat and engines that is read beside run files.
 * Beyond crashes: a file is taken or refused with words, and each fact that is taken could be set
 * again. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <unistd.h>

#include "../../analyze/boat_file.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char path[40];
    struct facts facts = {0}, again = {0};
    struct complaint complaint = {""};
    int fd = memfd_create("boat", MFD_CLOEXEC);
    demand(fd >= 0 && write(fd, data, size) == (ssize_t)size);
    snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
    enum status status = boat_file_read(path, &facts, &complaint);
    demand((status == STATUS_OK) == (complaint.text[0] == '\0'));
    for (size_t i = 0; i < facts.count && status == STATUS_OK; i++)
        demand(facts_set(&again, facts.list[i].section, facts.list[i].engine, facts.list[i].key,
                         facts.list[i].value, &complaint) == STATUS_OK);
    facts_free(&again);
    facts_free(&facts);
    close(fd);
    return 0;
}
