/* season_sender.h - which coolant sender showed the temperature in each outing. Pure.
 *
 * Two outings have the same sender if its readings came the same way (message, label, instrument;
 * whoever passed them on) and the service log has no exchange between them. What people write of
 * the sender in other words is no other sender. The log may also say that it stayed the same
 * although the readings come another way.
 */
#ifndef SEARUN_SEASON_SENDER_H
#define SEARUN_SEASON_SENDER_H

#include "season_gather.h"

/* Whether the readings of the coolant come the same way. Outings that do not say are like any. */
bool season_same_source(const struct outing_engine *a, const struct outing_engine *b);

/* Numbers the senders of the gathered runs, from the last one back: the present one is 0, others
 * follow; fills g->sender_u, g->offset_u. STATUS_MEMORY. */
enum status season_sender_number(const struct seasons *seasons, const struct season_engine *engine,
                                 struct gathered *g);

/* Says of one engine where its sender was taken as another one, and where words alone changed.
 * Adds an event where the readings come a way they never came before. STATUS_MEMORY. */
enum status season_sender_look(struct seasons *seasons, const struct season_engine *engine);

#endif
