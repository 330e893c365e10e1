/* events_can.c - what on a CAN bus is not a number. See events_can.h. */
#include "events_can.h"

#include <stdio.h>

#define KEY_MAX 48

/* --- the ration */

static void refill(struct events_can *events, int64_t at)
{
    if (!events->started) {
        events->started = true;
        events->ration = EVENTS_AT_ONCE;
        events->refilled = at;
    }
    if (at <= events->refilled)
        return;
    uint64_t more = ((uint64_t)at - (uint64_t)events->refilled) / (uint64_t)EVENT_EVERY_NS;
    if (more == 0)
        return;
    events->refilled += (int64_t)(more * (uint64_t)EVENT_EVERY_NS);
    events->ration =
        more > EVENTS_AT_ONCE - events->ration ? EVENTS_AT_ONCE : events->ration + (unsigned)more;
}

/* True if the event was told. */
static bool tell(const struct event_context *context, const struct origin *origin, const char *key,
                 const char *text)
{
    refill(context->events, context->at);
    if (context->events->ration == 0) {
        tally_add(context->tally, REASON_EVENT_HELD_BACK, context->at);
        return false;
    }
    context->events->ration--;
    context->sink->event(context->sink->self, context->at, origin, key, text);
    return true;
}

static bool tell_change(const struct event_context *context, const struct origin *origin,
                        const char *key, const char *title, bool on, const char *more)
{
    char name[KEY_MAX], text[EVENT_TEXT_MAX];
    snprintf(name, sizeof name, "%s%s", key, on ? "" : "_ended");
    snprintf(text, sizeof text, "%s: %s%s", title, on ? "on" : "off", more);
    return tell(context, origin, name, text);
}

/* --- status words */

/* Which items are on, and about which the word says anything. */
static void status_items(const struct can_status *status, unsigned word, unsigned *on,
                         unsigned *known)
{
    *on = *known = 0;
    for (unsigned i = 0; i < status->count; i++) {
        unsigned item = word >> i * status->width & ((1u << status->width) - 1);
        if (item <= 1)
            *known |= 1u << i;
        if (item == 1)
            *on |= 1u << i;
    }
}

void event_status(const struct event_context *context, struct known_origin *known, unsigned slot,
                  const struct can_status *status, unsigned word)
{
    unsigned on, sure;
    status_items(status, word, &on, &sure);
    unsigned changed = (known->told[slot] ^ on) & sure;
    const char *more = known->heard[slot] ? "" : " when first heard";
    for (unsigned i = 0; changed >> i != 0; i++) {
        if (!(changed >> i & 1))
            continue;
        if (tell_change(context, &known->origin, status->item[i].key, status->item[i].title,
                        on >> i & 1, more))
            known->told[slot] ^= (uint16_t)(1u << i);
    }
    known->heard[slot] = true;
}

/* --- texts */

/* FNV-1a, 32 bits. */
static uint32_t text_hash(const char *text)
{
    uint32_t hash = 2166136261u;
    for (; *text; text++)
        hash = (hash ^ (uint8_t)*text) * 16777619u;
    return hash;
}

void event_text(const struct event_context *context, struct known_origin *known, const char *key,
                const char *text)
{
    uint32_t hash = text_hash(text);
    if (known->has_text && known->text_hash == hash)
        return;
    if (!tell(context, &known->origin, key, text))
        return;
    known->has_text = true;
    known->text_hash = hash;
}

/* --- trouble codes */

#define OLD_BIT_ORDER UINT32_C(0x80000000)
#define SPN_MISSING UINT32_C(0x7FFFF)
#define FMI_MISSING 31

/* Names of the parameters that messages_j1939.c has, and of two more that matter to cooling.
 * Source: J1939 database of the open project canboat. */
static const struct title {
    uint32_t number;
    const char *title;
} spn_titles[] = {
    {52, "intercooler temperature"},
    {91, "accelerator pedal position"},
    {92, "engine load"},
    {94, "fuel delivery pressure"},
    {98, "engine oil level"},
    {100, "engine oil pressure"},
    {101, "crankcase pressure"},
    {102, "boost pressure"},
    {105, "intake manifold temperature"},
    {107, "air filter differential pressure"},
    {108, "barometric pressure"},
    {109, "coolant pressure"},
    {110, "coolant temperature"},
    {111, "coolant level"},
    {112, "coolant filter differential pressure"},
    {127, "transmission oil pressure"},
    {167, "charging voltage"},
    {168, "battery voltage"},
    {171, "ambient air temperature"},
    {173, "exhaust gas temperature"},
    {174, "fuel temperature"},
    {175, "engine oil temperature"},
    {176, "turbocharger oil temperature"},
    {177, "transmission oil temperature"},
    {183, "fuel rate"},
    {190, "engine speed"},
    {513, "engine torque"},
};

/* Failure modes (SAE J1939-73, from memory). */
static const struct title fmi_titles[] = {
    {0, "above normal, most severe"},
    {1, "below normal, most severe"},
    {2, "erratic or incorrect"},
    {3, "voltage above normal"},
    {4, "voltage below normal"},
    {5, "current below normal or open circuit"},
    {6, "current above normal or grounded circuit"},
    {7, "mechanical system not responding"},
    {8, "abnormal frequency or pulse width"},
    {9, "abnormal update rate"},
    {10, "abnormal rate of change"},
    {11, "cause not known"},
    {12, "bad device"},
    {13, "out of calibration"},
    {14, "special instructions"},
    {15, "above normal, least severe"},
    {16, "above normal, moderately severe"},
    {17, "below normal, least severe"},
    {18, "below normal, moderately severe"},
    {19, "network data in error"},
    {20, "drifted high"},
    {21, "drifted low"},
    {31, "condition exists"},
};

static const char *find_title(const struct title *titles, size_t count, uint32_t number)
{
    for (size_t i = 0; i < count; i++)
        if (titles[i].number == number)
            return titles[i].title;
    return "no name known here";
}
#define TITLE_OF(titles, number) find_title(titles, sizeof(titles) / sizeof *(titles), number)

static bool tell_fault(const struct event_context *context, const struct origin *origin,
                       const struct active_fault *fault, bool on, unsigned occurrences)
{
    char key[KEY_MAX], title[EVENT_TEXT_MAX / 2], more[EVENT_TEXT_MAX / 4] = "";
    uint32_t spn = fault->spn & ~OLD_BIT_ORDER;
    const char *failure = TITLE_OF(fmi_titles, fault->fmi);
    if (fault->spn & OLD_BIT_ORDER) {
        snprintf(key, sizeof key, "fault_raw_%05x_%u", spn, fault->fmi);
        snprintf(title, sizeof title,
                 "Trouble code in an older bit order, %05X as it stands, FMI %u (%s)", spn,
                 fault->fmi, failure);
    } else {
        snprintf(key, sizeof key, "fault_%u_%u", spn, fault->fmi);
        snprintf(title, sizeof title, "Trouble code SPN %u (%s), FMI %u (%s)", spn,
                 TITLE_OF(spn_titles, spn), fault->fmi, failure);
    }
    if (on)
        snprintf(more, sizeof more, ", occurrence count %u", occurrences);
    return tell_change(context, origin, key, title, on, more);
}

static struct active_fault *find_fault(struct events_can *events, const struct active_fault *like)
{
    for (unsigned i = 0; i < events->fault_count; i++) {
        struct active_fault *fault = &events->fault[i];
        if (fault->device == like->device && fault->spn == like->spn && fault->fmi == like->fmi)
            return fault;
    }
    return NULL;
}

/* One code of the message. False if it says that codes are not available. */
static bool see_fault(const struct event_context *context, const struct known_origin *known,
                      unsigned device, const uint8_t code[4])
{
    struct events_can *events = context->events;
    struct active_fault fault = {.device = (uint16_t)device, .fmi = code[2] & 0x1F, .seen = true};
    fault.spn = code[0] | (uint32_t)code[1] << 8 | (uint32_t)(code[2] >> 5) << 16;
    if (fault.spn == 0 && fault.fmi == 0)
        return true;
    if (fault.spn == SPN_MISSING && fault.fmi == FMI_MISSING) {
        tally_add(context->tally, REASON_NOT_AVAILABLE, context->at);
        return false;
    }
    if (code[3] & 0x80)
        fault.spn |= OLD_BIT_ORDER;
    struct active_fault *active = find_fault(events, &fault);
    if (active)
        active->seen = true;
    else if (events->fault_count == FAULTS_MAX)
        tally_add(context->tally, REASON_EVENT_HELD_BACK, context->at);
    else if (tell_fault(context, &known->origin, &fault, true, code[3] & 0x7F))
        events->fault[events->fault_count++] = fault;
    return true;
}

/* Those of the device that the message did not have are over, if that can be told. */
static void end_faults(const struct event_context *context, const struct known_origin *known,
                       unsigned device)
{
    struct events_can *events = context->events;
    unsigned kept = 0;
    for (unsigned i = 0; i < events->fault_count; i++) {
        struct active_fault fault = events->fault[i];
        if (fault.device != device || fault.seen ||
            !tell_fault(context, &known->origin, &fault, false, 0))
            events->fault[kept++] = fault;
    }
    events->fault_count = kept;
}

void event_faults(const struct event_context *context, const struct known_origin *known,
                  unsigned device, const uint8_t *codes, size_t count)
{
    struct events_can *events = context->events;
    bool complete = true;
    for (unsigned i = 0; i < events->fault_count; i++)
        if (events->fault[i].device == device)
            events->fault[i].seen = false;
    for (size_t i = 0; i < count; i++)
        complete &= see_fault(context, known, device, codes + 4 * i);
    if (complete)
        end_faults(context, known, device);
}
