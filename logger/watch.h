/* watch.h - tells the person on board what is heard and what is still missing, and sums up at the
 * end.
 *
 * The comparison needs engine speed and coolant temperature of each engine and the sea temperature:
 * a run without one of them is a wasted trip, so the technician hears about it while still at the
 * dock.
 */
#ifndef SEARUN_WATCH_H
#define SEARUN_WATCH_H

#include "facts.h"
#include "reading.h"
#include "run_write.h"
#include "say.h"
#include "status.h"
#include "tally.h"

struct watch;

/* Engines named in the facts are expected; if there is none, engine 0 is, until another is heard.
 * `live`: reminders and silences are told. `voice`, `facts` and `inputs` must outlive it.
 * STATUS_MEMORY. */
enum status watch_new(const struct voice *voice, const struct facts *facts,
                      const struct run_input *inputs, bool live, struct watch **out);
void watch_free(struct watch *watch);

void watch_readings(struct watch *watch, int64_t at, const struct origin *origin,
                    const struct value *values, size_t count);
void watch_event(struct watch *watch, int64_t at, const struct origin *origin, const char *key,
                 const char *text);

/* Says what is due at `at`; returns when to call again. */
int64_t watch_tick(struct watch *watch, int64_t at);

/* An input that is open since `opened_at`: says once if it brings nothing, or nothing but noise. */
void watch_input(struct watch *watch, unsigned input, int64_t at, int64_t opened_at,
                 const struct tally *tally);

/* Storage does not keep up, and messages are dropped: says so when it begins, and when it is
 * over. */
void watch_storage(struct watch *watch, bool dropping, const struct tally *tallies,
                   size_t input_count);

/* Whether nothing came from any input, not even noise, in a run long enough (15 s) to be meant. */
bool watch_heard_nothing(const struct watch *watch, int64_t end, const struct tally *tallies,
                         size_t input_count);

/* The end: what was recorded, what is missing, and what was refused. `end` in ns since run
 * start. */
void watch_summary(const struct watch *watch, int64_t end, const struct tally *tallies,
                   size_t input_count);

#endif
