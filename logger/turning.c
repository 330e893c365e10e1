/* turning.c - see turning.h. */
#include "turning.h"

static void take_speed(struct turning *turning, int64_t at, unsigned engine, double speed)
{
    if (!(speed > turning->above)) {
        turning->fast[engine].once = false;
        return;
    }
    bool again = turning->fast[engine].once && at - turning->fast[engine].at <= TURNING_AGAIN_NS;
    turning->fast[engine].once = true;
    turning->fast[engine].at = at;
    if (again && (!turning->ever || at > turning->at)) {
        turning->ever = true;
        turning->at = at;
    }
}

void turning_readings(struct turning *turning, int64_t at, const struct origin *origin,
                      const struct value *values, size_t count)
{
    if (origin->place != PLACE_ENGINE || origin->instance >= INSTANCE_MAX)
        return;
    for (size_t i = 0; i < count; i++)
        if (values[i].channel == CHANNEL_ENGINE_SPEED)
            take_speed(turning, at, origin->instance, values[i].value);
}

int64_t turning_still(const struct turning *turning, int64_t now)
{
    if (!turning->ever)
        return INT64_MAX;
    return now > turning->at ? now - turning->at : 0;
}
