/* can_checks.h - for tests and fuzzing: a sink that stops the program if the decoder breaks its
 * word. */
#ifndef SEARUN_CAN_CHECKS_H
#define SEARUN_CAN_CHECKS_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../../logger/decode_can.h"

struct can_checks {
    int64_t at; /* instant of the present frame */
    uint64_t values, events, utcs;
};

#define CHECK(what)                                                                                \
    do {                                                                                           \
        if (!(what)) {                                                                             \
            fprintf(stderr, "%s:%d: broken: %s\n", __FILE__, __LINE__, #what);                     \
            abort();                                                                               \
        }                                                                                          \
    } while (0)

/* Printable ASCII up to a zero, and zeros behind it. */
static inline void check_text(const char *text, size_t size)
{
    size_t length = strnlen(text, size);
    CHECK(length < size);
    for (size_t i = 0; i < length; i++)
        CHECK(text[i] >= 0x20 && text[i] < 0x7F);
    for (size_t i = length; i < size; i++)
        CHECK(text[i] == '\0');
}

static inline void check_origin(const struct can_checks *checks, int64_t at,
                                const struct origin *origin)
{
    CHECK(at == checks->at);
    CHECK(origin->protocol == PROTOCOL_NMEA2000 || origin->protocol == PROTOCOL_J1939);
    CHECK(origin->place < PLACE_COUNT);
    CHECK(origin->instance < INSTANCE_MAX);
    CHECK(origin->place != PLACE_VESSEL || origin->instance == 0);
    CHECK(origin->message[0] != '\0' && origin->source[0] != '\0');
    check_text(origin->message, sizeof origin->message);
    check_text(origin->source, sizeof origin->source);
    check_text(origin->label, sizeof origin->label);
}

static inline void check_readings(void *self, int64_t at, const struct origin *origin,
                                  const struct value *values, size_t count)
{
    struct can_checks *checks = self;
    check_origin(checks, at, origin);
    CHECK(count >= 1 && count <= VALUES_MAX);
    for (size_t i = 0; i < count; i++) {
        CHECK(values[i].channel < CHANNEL_COUNT);
        const struct channel *channel = channel_get((enum channel_id)values[i].channel);
        CHECK(values[i].value >= channel->low && values[i].value <= channel->high);
        for (size_t j = 0; j < i; j++)
            CHECK(values[i].channel != values[j].channel);
    }
    checks->values += count;
}

static inline void check_event(void *self, int64_t at, const struct origin *origin, const char *key,
                               const char *text)
{
    struct can_checks *checks = self;
    check_origin(checks, at, origin);
    CHECK(key[0] != '\0' && strlen(key) < 48);
    CHECK(text[0] != '\0' && strlen(text) < 256);
    for (const char *p = text; *p; p++)
        CHECK(*p >= 0x20 && *p < 0x7F);
    checks->events++;
}

static inline void check_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    struct can_checks *checks = self;
    check_origin(checks, at, origin);
    CHECK(unix_us >= INT64_C(946684800000000));        /* 2000-01-01 */
    CHECK(unix_us < INT64_C(65533) * 86400 * 1000000); /* 2149-06-04: from 65533 on, no date */
    checks->utcs++;
}

static inline struct sink checking_sink(struct can_checks *checks)
{
    return (struct sink){checks, check_readings, check_event, check_utc};
}

#endif
