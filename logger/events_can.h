/* events_can.h - what on a CAN bus is not a number: status bits, trouble codes, texts. Pure; fixed
 * memory.
 *
 * Events tell of changes. A bit or code that comes on has the event `key`, and when it goes off
 * `key`_ended: "over_temperature", "over_temperature_ended". What is on when it is first heard is
 * told, too. Events are rationed: a bus of nonsense shall not fill a disk with them. A change that
 * finds no ration is counted and told later, if it is still there; the words themselves are kept as
 * readings.
 */
#ifndef SEARUN_EVENTS_CAN_H
#define SEARUN_EVENTS_CAN_H

#include "messages_can.h"
#include "origins_can.h"
#include "tally.h"

#define EVENTS_AT_ONCE 256            /* largest ration; a boat that starts up needs some */
#define EVENT_EVERY_NS (NS_PER_S / 2) /* one more each */
#define FAULTS_MAX 256                /* active trouble codes of all sources of an input */
#define EVENT_TEXT_MAX 256

struct events_can {
    bool started;
    int64_t refilled;
    unsigned ration;
    unsigned fault_count;
    struct active_fault {
        uint32_t spn; /* 19 bits, and the conversion bit as bit 31 */
        uint16_t device;
        uint8_t fmi;
        bool seen;
    } fault[FAULTS_MAX];
};

/* Where events go, and about what. */
struct event_context {
    struct events_can *events;
    int64_t at;
    const struct sink *sink;
    struct tally *tally;
};

/* A status word of slot `slot` of an origin has come. */
void event_status(const struct event_context *context, struct known_origin *known, unsigned slot,
                  const struct can_status *status, unsigned word);

/* An origin says a text. An event only if the text differs from the last one. */
void event_text(const struct event_context *context, struct known_origin *known, const char *key,
                const char *text);

/* All trouble codes that a device has active, 4 bytes each. */
void event_faults(const struct event_context *context, const struct known_origin *known,
                  unsigned device, const uint8_t *codes, size_t count);

#endif
