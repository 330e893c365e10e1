/* rest.h - taking a line of text apart, piece by piece. */
#ifndef SEARUN_REST_H
#define SEARUN_REST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

/* What is left of a line. Every rest_... either takes its piece or leaves all as it was. */
struct rest {
    const char *at, *end;
};

static inline bool rest_is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static inline bool rest_text(struct rest *rest, const char *text)
{
    size_t length = strlen(text);
    if ((size_t)(rest->end - rest->at) < length || memcmp(rest->at, text, length) != 0)
        return false;
    rest->at += length;
    return true;
}

/* A number without sign of at most 18 digits. */
static inline bool rest_count(struct rest *rest, int64_t *out)
{
    const char *at = rest->at;
    int64_t value = 0;
    while (at < rest->end && rest_is_digit(*at) && at - rest->at < 18)
        value = value * 10 + (*at++ - '0');
    if (at == rest->at || (at < rest->end && rest_is_digit(*at)))
        return false;
    rest->at = at;
    *out = value;
    return true;
}

static inline bool rest_signed(struct rest *rest, int64_t *out)
{
    struct rest try = *rest;
    bool negative = rest_text(&try, "-");
    if (!rest_count(&try, out))
        return false;
    *out = negative ? -*out : *out;
    *rest = try;
    return true;
}

/* Everything up to `stop`, which must come and is taken as well; never empty. */
static inline bool rest_until(struct rest *rest, char stop, const char **text, size_t *length)
{
    if (rest->at == rest->end)
        return false;
    const char *found = memchr(rest->at, stop, (size_t)(rest->end - rest->at));
    if (!found || found == rest->at)
        return false;
    *text = rest->at;
    *length = (size_t)(found - rest->at);
    rest->at = found + 1;
    return true;
}

#endif
