/* turning.h - whether any engine turns, from the engine speeds that are heard. Pure. */
#ifndef SEARUN_TURNING_H
#define SEARUN_TURNING_H

#include "reading.h"

/* One reading above the threshold may be a disturbance: a second one within this time makes an
 * engine turn. (Our choice; slow talkers send a speed every 2 s or so.) */
#define TURNING_AGAIN_NS (30 * NS_PER_S)

/* Set `above` and leave the rest zero. */
struct turning {
    double above; /* rpm: faster is turning */
    bool ever;    /* an engine has turned ... */
    int64_t at;   /* ... last at this instant */
    struct {
        bool once;
        int64_t at;
    } fast[INSTANCE_MAX]; /* last reading above the threshold, by engine */
};

/* Takes readings of any kind. */
void turning_readings(struct turning *turning, int64_t at, const struct origin *origin,
                      const struct value *values, size_t count);

/* How long no engine has turned: 0 while one does, INT64_MAX if none ever did. */
int64_t turning_still(const struct turning *turning, int64_t now);

#endif
