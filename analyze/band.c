/* band.c - see band.h. */
#include "band.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "rules.h"

/* Holds in the order of speed, cut into groups: group g is order[start[g]] ..
 * order[start[g+1]-1]. */
struct grouping {
    struct hold **order;
    size_t holds;
    size_t *start;
    size_t groups;
};

static int by_speed(const void *a, const void *b)
{
    const struct hold *const *x = a, *const *y = b;
    return ((*x)->rpm > (*y)->rpm) - ((*x)->rpm < (*y)->rpm);
}

/* Widest spread if group g and the next were one, as a share of what is allowed. */
static double joint_spread(const struct grouping *groups, size_t g)
{
    double low = groups->order[groups->start[g]]->rpm;
    double high = groups->order[groups->start[g + 2] - 1]->rpm;
    double allowed = fmax(rules.band.width_rpm, rules.band.width_ratio * 0.5 * (low + high));
    return (high - low) / allowed;
}

/* Joins the two nearest neighbours; false if none may be joined. */
static bool join_nearest(struct grouping *groups)
{
    size_t best = 0;
    double nearest = INFINITY;
    for (size_t g = 0; g + 1 < groups->groups; g++) {
        double spread = joint_spread(groups, g);
        if (spread < nearest) {
            nearest = spread;
            best = g;
        }
    }
    if (!(nearest <= 1.0))
        return false;
    for (size_t g = best + 1; g < groups->groups; g++)
        groups->start[g] = groups->start[g + 1];
    groups->groups--;
    return true;
}

/* Mean of the means of the sides that are there: many holds of one side do not pull it over. */
static double centre(const struct grouping *groups, size_t g)
{
    double sum[SIDE_COUNT] = {0}, mean = 0;
    size_t n[SIDE_COUNT] = {0}, sides = 0;
    for (size_t i = groups->start[g]; i < groups->start[g + 1]; i++) {
        sum[groups->order[i]->side] += groups->order[i]->rpm;
        n[groups->order[i]->side]++;
    }
    for (int side = 0; side < SIDE_COUNT; side++)
        if (n[side] > 0) {
            mean += sum[side] / (double)n[side];
            sides++;
        }
    return mean / (double)sides;
}

static double nominal(double rpm)
{
    double near = fmax(rules.band.round_rpm, rules.band.round_ratio * rpm);
    double hundred = 100 * round(rpm / 100), fifty = 50 * round(rpm / 50);
    if (fabs(hundred - rpm) <= near)
        return hundred;
    return fabs(fifty - rpm) <= near ? fifty : 10 * round(rpm / 10);
}

static void name_groups(const struct grouping *groups)
{
    double last = -INFINITY;
    for (size_t g = 0; g < groups->groups; g++) {
        double middle = centre(groups, g), rpm = nominal(middle);
        if (rpm <= last)
            rpm = middle; /* two bands must not share a name */
        for (size_t i = groups->start[g]; i < groups->start[g + 1]; i++)
            groups->order[i]->band_rpm = rpm;
        last = rpm;
    }
}

enum status band_assign(struct hold *holds, size_t count)
{
    struct grouping groups = {.order = malloc((count + 1) * sizeof *groups.order),
                              .start = malloc((count + 1) * sizeof *groups.start)};
    enum status status = groups.order && groups.start ? STATUS_OK : STATUS_MEMORY;
    if (!status) {
        for (size_t i = 0; i < count; i++)
            if (holds[i].refusal == REFUSAL_NONE)
                groups.order[groups.holds++] = &holds[i];
        qsort(groups.order, groups.holds, sizeof *groups.order, by_speed);
        groups.groups = groups.holds;
        for (size_t g = 0; g <= groups.holds; g++)
            groups.start[g] = g;
        while (join_nearest(&groups))
            ;
        name_groups(&groups);
    }
    free(groups.order);
    free(groups.start);
    return status;
}
