/* origin_words.h - who said something, in words: "RPM from II, engine 0". */
#ifndef SEARUN_ORIGIN_WORDS_H
#define SEARUN_ORIGIN_WORDS_H

#include "reading.h"
#include "words.h"

/* "XDR C:ENGINE#0 from II" or "127488 from 35". */
struct word origin_source(const struct origin *origin);
/* "engine 0", "tank 2", "vessel". */
struct word origin_place(const struct origin *origin);
/* Is this a channel of a transducer that nobody has mapped? */
bool origin_unmapped(enum channel_id channel);
/* Where the dates of a run come from, in words; the key itself where it is not one of
 * run_write.h. */
const char *origin_clock(const char *key);

#endif
