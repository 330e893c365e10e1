/* origin_words.c - who said something, in words. */
#include "origin_words.h"

#include <string.h>

struct word origin_source(const struct origin *origin)
{
    if (origin->protocol == PROTOCOL_SHEET) /* nobody sent it */
        return word_of("%s%s%s", origin->message, origin->label[0] != '\0' ? " " : "",
                       origin->label);
    return word_of("%s%s%s from %s", origin->message, origin->label[0] != '\0' ? " " : "",
                   origin->label, origin->source[0] != '\0' ? origin->source : "?");
}

struct word origin_place(const struct origin *origin)
{
    enum place place = origin->place < PLACE_COUNT ? (enum place)origin->place : PLACE_VESSEL;
    if (place == PLACE_VESSEL)
        return word_of("%s", place_key(place));
    return word_of("%s %u", place_key(place), origin->instance);
}

bool origin_unmapped(enum channel_id channel)
{
    static const char prefix[] = "transducer_";
    return strncmp(channel_get(channel)->key, prefix, sizeof prefix - 1) == 0;
}

const char *origin_clock(const char *key)
{
    static const char *const words[][2] = {
        {"system", "clock of the recording computer"},
        {"gnss", "satellite time on the network"},
        {"capture", "times in the capture, sheet or table it was made from"},
        {"nominal", "no clock: the date is a stand-in"}};
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcmp(key, words[i][0]) == 0)
            return words[i][1];
    return key;
}
