/* holding.h - what a program at work holds: descriptors and memory. */
#ifndef HOLDING_H
#define HOLDING_H

#include "../whole/stage.h"

#define SETTLED 3          /* rounds at least, after which everything has been used once */
#define GROWTH_MAX_KB 2048 /* the tables of gaps and events grow, by less than 1 KB a round */

/* The memory of a ring counts when it is touched first: a large one would look like growth until it
 * has been written all over. */
#define SMALL_RING "--set", "logger.ring_size=1"

struct holding {
    unsigned descriptors;
    long resident_kb;
};

static struct holding holding_of(const struct program *program)
{
    struct holding holding = {0, 0};
    char path[64], line[200];
    snprintf(path, sizeof path, "/proc/%d/fd", program->pid);
    DIR *dir = opendir(path);
    assert_non_null(dir);
    while (readdir(dir))
        holding.descriptors++;
    closedir(dir);
    snprintf(path, sizeof path, "/proc/%d/status", program->pid);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    while (fgets(line, sizeof line, file))
        sscanf(line, "VmRSS: %ld", &holding.resident_kb);
    fclose(file);
    return holding;
}

static void expect_no_growth(struct holding before, struct holding after)
{
    print_message("descriptors %u, then %u; resident %ld KB, then %ld KB\n", before.descriptors,
                  after.descriptors, before.resident_kb, after.resident_kb);
    assert_int_equal(before.descriptors, after.descriptors);
#ifndef __SANITIZE_ADDRESS__ /* which keeps what was freed, and finds leaks at the end */
    assert_true(after.resident_kb < before.resident_kb + GROWTH_MAX_KB);
#endif
}

/* The round after which nothing may grow any more: by then, chunks of the run file have filled
 * up. */
static unsigned settled_after(unsigned rounds)
{
    return rounds / 2 > SETTLED ? rounds / 2 : SETTLED;
}

/* SEARUN_SOAK_ROUNDS, or a few. */
static unsigned rounds_asked(void)
{
    const char *count = getenv("SEARUN_SOAK_ROUNDS");
    return count && atoi(count) > SETTLED ? (unsigned)atoi(count) : 5;
}

#endif
