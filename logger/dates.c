/* dates.c - see dates.h. */
#include "dates.h"

#include <stdlib.h>
#include <string.h>

#define US_PER_S INT64_C(1000000)
#define US_PER_DAY (86400 * US_PER_S)
/* The week number of the GPS L1 C/A navigation message has ten bits (IS-GPS-200, section 20.3.3.3):
 * receivers that do not allow for it fall back by 1024 weeks. */
#define US_PER_ERA (1024 * 7 * US_PER_DAY)

/* Keeps every second one, so that what is kept stays spread evenly. */
static void thin_out(struct dates *dates)
{
    for (size_t i = 0; i < DATES_KEPT / 2; i++)
        dates->start_us[i] = dates->start_us[2 * i];
    dates->count = DATES_KEPT / 2;
    dates->stride *= 2;
}

void dates_add(struct dates *dates, int64_t at, int64_t unix_us)
{
    if (dates->stride == 0)
        dates->stride = 1;
    if (dates->heard++ % dates->stride != 0)
        return;
    if (dates->count == DATES_KEPT) {
        thin_out(dates);
        if ((dates->heard - 1) % dates->stride != 0)
            return;
    }
    dates->start_us[dates->count++] = unix_us - at / 1000;
}

static int ascending(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static int64_t median(const struct dates *dates)
{
    int64_t sorted[DATES_KEPT];
    memcpy(sorted, dates->start_us, dates->count * sizeof sorted[0]);
    qsort(sorted, dates->count, sizeof sorted[0], ascending);
    return sorted[(dates->count - 1) / 2];
}

/* Whole eras that `behind_us` (statements minus clock) lies below zero, to within a day; else 0. */
static int64_t eras_behind(int64_t behind_us)
{
    int64_t eras = (-behind_us + US_PER_ERA / 2) / US_PER_ERA;
    int64_t rest = behind_us + eras * US_PER_ERA;
    return behind_us < 0 && llabs(rest) <= US_PER_DAY ? eras : 0;
}

struct dates_verdict dates_judge(const struct dates *dates, int64_t start_unix_us,
                                 int64_t tolerance_us)
{
    struct dates_verdict verdict = {.start_unix_us = start_unix_us};
    if (dates->count < DATES_NEEDED)
        return verdict;
    int64_t stated = median(dates);
    int64_t eras = eras_behind(stated - start_unix_us);
    stated += eras * US_PER_ERA;
    verdict.heard_enough = true;
    verdict.rolled_over = eras > 0;
    verdict.behind_us = stated - start_unix_us;
    if (llabs(verdict.behind_us) > tolerance_us) {
        verdict.moved = true;
        verdict.start_unix_us = stated - ((stated % 1000) + 1000) % 1000;
    }
    return verdict;
}
