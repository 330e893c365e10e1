/* capture_time.c - see capture_time.h. */
#include "capture_time.h"

#include <stdlib.h>

#define US_PER_S 1e6

/* --- stamps */

static int64_t step_with(const struct stamp_follower *follower, int64_t unix_us, int64_t shift_us)
{
    return unix_us + shift_us - follower->last_us;
}

static bool goes_on(int64_t step_us, int64_t forward_max_us)
{
    return step_us >= -LATE_MAX_US && step_us <= forward_max_us;
}

/* A gateway that mixes two clocks, or sends old lines late, comes back to the other clock soon. */
static bool returns(const struct stamp_follower *follower, int64_t unix_us)
{
    int64_t step = step_with(follower, unix_us, follower->shift_us);
    int64_t other = step_with(follower, unix_us, follower->other_shift_us);
    return follower->last_us - follower->jumped_at_us <= RETURN_MAX_US &&
           goes_on(other, RETURN_MAX_US) && llabs(other) < llabs(step);
}

static void change_shift(struct stamp_follower *follower, int64_t shift_us)
{
    follower->other_shift_us = follower->shift_us;
    follower->shift_us = shift_us;
    follower->jumped_at_us = follower->last_us;
}

/* The clock was set: time goes on from the last instant. */
static void jump(struct stamp_follower *follower, int64_t unix_us)
{
    follower->date_jumped |= step_with(follower, unix_us, follower->shift_us) > PAUSE_MAX_US;
    follower->jumped = true;
    change_shift(follower, follower->last_us - unix_us);
}

int64_t stamp_follow(struct stamp_follower *follower, int64_t unix_us)
{
    if (!follower->begun) {
        *follower = (struct stamp_follower){
            .begun = true, .shift_us = -unix_us, .other_shift_us = -unix_us};
        return 0;
    }
    follower->jumped = false;
    if (returns(follower, unix_us))
        change_shift(follower, follower->other_shift_us);
    else if (!goes_on(step_with(follower, unix_us, follower->shift_us), PAUSE_MAX_US))
        jump(follower, unix_us);
    int64_t at_us = unix_us + follower->shift_us;
    if (at_us > follower->last_us)
        follower->last_us = at_us;
    return at_us;
}

/* --- anchors */

/* Stated just before, or by a second receiver that is a little behind. */
static bool is_late(const struct anchors *anchors, int64_t unix_us)
{
    if (anchors->count == 0)
        return false;
    int64_t step = unix_us - anchors->list[anchors->count - 1].unix_us;
    return step <= 0 && step >= -LATE_MAX_US;
}

enum status anchors_add(struct anchors *anchors, uint64_t offset, int64_t unix_us)
{
    if (is_late(anchors, unix_us))
        return STATUS_OK;
    if (anchors->count == anchors->room) {
        size_t room = anchors->room ? anchors->room * 2 : 1024;
        struct anchor *list = realloc(anchors->list, room * sizeof *list);
        if (!list)
            return STATUS_MEMORY;
        anchors->list = list;
        anchors->room = room;
    }
    anchors->list[anchors->count++] = (struct anchor){.offset = offset, .unix_us = unix_us};
    return STATUS_OK;
}

static bool is_jump(const struct anchor *before, const struct anchor *now)
{
    int64_t step = now->unix_us - before->unix_us;
    return step < 0 || step > PAUSE_MAX_US;
}

/* Whether a step from i - 1 to i has a jump before and behind it: then it hardly is one of a clock,
 * but from one receiver to another. */
static bool stands_alone(const struct anchors *anchors, size_t i)
{
    const struct anchor *list = anchors->list;
    return (i < 2 || is_jump(&list[i - 2], &list[i - 1])) &&
           (i + 1 >= anchors->count || is_jump(&list[i], &list[i + 1]));
}

/* Mean pace over all steps that are no jumps. */
static double mean_pace(const struct anchors *anchors)
{
    double bytes = 0, seconds = 0;
    for (size_t i = 1; i < anchors->count; i++) {
        const struct anchor *before = &anchors->list[i - 1], *now = &anchors->list[i];
        if (is_jump(before, now) || (stands_alone(anchors, i) && anchors->count > 2))
            continue;
        bytes += (double)(now->offset - before->offset);
        seconds += (double)(now->unix_us - before->unix_us) / US_PER_S;
    }
    return bytes > 0 && seconds > 0 ? bytes / seconds : NOMINAL_BYTES_PER_S;
}

/* Whether a statement goes on from the clock before the last jump: two receivers take turns. A
 * clock that was set back for good passes its old time once more, but long after. */
static bool is_of_other(const struct anchor *other, const struct anchor *before,
                        const struct anchor *now)
{
    if (!other || before->at_us - other->at_us > RETURN_MAX_US || is_jump(other, now))
        return false;
    return is_jump(before, now) || (other->unix_us > before->unix_us &&
                                    other->at_us + now->unix_us - other->unix_us >= before->at_us);
}

static int64_t us_of_bytes(double bytes, double bytes_per_s)
{
    return (int64_t)(bytes / bytes_per_s * US_PER_S);
}

static double bytes_between(const struct anchor *before, const struct anchor *now)
{
    return (double)(now->offset - before->offset);
}

/* The instant of a statement by the clock that `same` had; not before the statement before. */
static int64_t go_on(const struct anchor *same, const struct anchor *before,
                     const struct anchor *now)
{
    int64_t at_us = same->at_us + now->unix_us - same->unix_us;
    return at_us > before->at_us ? at_us : before->at_us;
}

int64_t anchors_settle(struct anchors *anchors)
{
    if (anchors->count == 0)
        return 0;
    double pace = anchors->bytes_per_s = mean_pace(anchors);
    struct anchor *first = &anchors->list[0];
    first->at_us = us_of_bytes((double)first->offset, pace);
    const struct anchor *other = NULL; /* the last of the clock before a jump */
    for (size_t i = 1; i < anchors->count; i++) {
        const struct anchor *before = &anchors->list[i - 1];
        struct anchor *now = &anchors->list[i];
        bool of_other = is_of_other(other, before, now);
        now->jumped = !of_other && is_jump(before, now);
        now->at_us = of_other      ? go_on(other, before, now)
                     : now->jumped ? before->at_us + us_of_bytes(bytes_between(before, now), pace)
                                   : go_on(before, before, now);
        if (of_other || now->jumped)
            other = before;
    }
    return first->unix_us - first->at_us;
}

/* Between two anchors, in proportion to the bytes. */
static int64_t between(const struct anchor *a, const struct anchor *b, uint64_t offset)
{
    double share = (double)(offset - a->offset) / (double)(b->offset - a->offset);
    return a->at_us + (int64_t)(share * (double)(b->at_us - a->at_us));
}

int64_t anchors_instant(const struct anchors *anchors, uint64_t offset, size_t *cursor)
{
    double pace = anchors->count > 0 ? anchors->bytes_per_s : NOMINAL_BYTES_PER_S;
    if (anchors->count == 0 || offset <= anchors->list[0].offset)
        return us_of_bytes((double)offset, pace);
    while (*cursor + 1 < anchors->count && anchors->list[*cursor + 1].offset <= offset)
        (*cursor)++;
    const struct anchor *a = &anchors->list[*cursor];
    if (*cursor + 1 < anchors->count)
        return between(a, a + 1, offset);
    return a->at_us + us_of_bytes((double)(offset - a->offset), pace);
}

void anchors_free(struct anchors *anchors)
{
    free(anchors->list);
    *anchors = (struct anchors){0};
}
