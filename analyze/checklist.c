/* checklist.c - what was ticked off after a service. */
#include "checklist.h"

#include <ctype.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

static const struct row {
    const char *key, *title;
    enum check_evidence evidence;
    const char *words;
} rows[] = {
#define CHECK(id, key, title, evidence, words) {key, title, CHECK_BY_##evidence, words},
#include "checklist.def"
#undef CHECK
};

const char *check_key(enum check_item item)
{
    return rows[item].key;
}

const char *check_title(enum check_item item)
{
    return rows[item].title;
}

enum check_evidence check_evidence(enum check_item item)
{
    return rows[item].evidence;
}

/* --- words */

/* Words in small letters with one blank before, between and behind: " bled and cap on ". */
struct plain {
    char s[512];
    size_t length;
};

static struct plain plain_of(const char *text, size_t length)
{
    struct plain plain = {" ", 1};
    for (size_t i = 0; i < length && plain.length < sizeof plain.s - 2; i++) {
        unsigned char c = (unsigned char)text[i];
        bool letter = isalnum(c) || c >= 0x80 || c == '\'';
        if (letter)
            plain.s[plain.length++] = (char)tolower(c);
        else if (plain.s[plain.length - 1] != ' ')
            plain.s[plain.length++] = ' ';
    }
    if (plain.s[plain.length - 1] != ' ')
        plain.s[plain.length++] = ' ';
    plain.s[plain.length] = '\0';
    return plain;
}

/* Words that say that something was not done, or not yet. "No leaks" is no denial, but the result
 * of the check. */
static bool denies(const struct plain *plain)
{
    static const char *const words[] = {" not ",    " no ",     " never ", " isn't ",   " hasn't ",
                                        " wasn't ", " cannot ", " can't ", " without ", " skipped ",
                                        " to do ",  " todo ",   " must ",  " later "};
    static const char *const fine[] = {" no leak", " no drip", " no air "};
    struct plain look = *plain;
    for (size_t i = 0; i < sizeof fine / sizeof fine[0]; i++) {
        char *at = strstr(look.s, fine[i]);
        if (at != NULL)
            at[1] = '_';
    }
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strstr(look.s, words[i]) != NULL)
            return true;
    return false;
}

/* The longest of the words between '|' that stands at `at`, which is a blank; 0 for none. Endings
 * are whole words. */
static size_t match_at(const char *at, const char *list)
{
    size_t longest = 0;
    while (*list != '\0') {
        size_t length = strcspn(list, "|");
        if (strncmp(at + 1, list, length) == 0 && at[1 + length] == ' ' && length > longest)
            longest = length;
        list += length + (list[length] == '|');
    }
    return longest;
}

/* Which items the words are about: at every word that with the longest match, going on behind
 * it. */
static void find_items(const struct plain *plain, bool about[CHECK_COUNT])
{
    for (const char *at = plain->s; at[0] != '\0' && at[1] != '\0';) {
        size_t longest = 0, item = CHECK_COUNT;
        for (size_t i = 0; i < CHECK_COUNT; i++) {
            size_t length = match_at(at, rows[i].words);
            if (length > longest) {
                longest = length;
                item = i;
            }
        }
        if (item < CHECK_COUNT)
            about[item] = true;
        at += item < CHECK_COUNT ? longest + 1 : 1 + strcspn(at + 1, " ");
    }
}

/* --- ticks */

/* Copies words without the blanks around them, cut at a whole character. */
static void copy(char *to, size_t room, const char *words, size_t length)
{
    for (; length > 0 && *words == ' '; words++)
        length--;
    while (length > 0 && words[length - 1] == ' ')
        length--;
    if (length >= room) {
        length = room - 1;
        while (length > 0 && ((unsigned char)words[length] & 0xC0) == 0x80)
            length--;
    }
    memcpy(to, words, length);
    to[length] = '\0';
}

/* Keeps what was said of an item. */
static void put(struct tick *tick, const struct tick *said, const char *words, size_t length)
{
    struct plain plain = plain_of(words, length);
    bool denied = denies(&plain) || memchr(words, '?', length) != NULL;
    *tick = *said;
    tick->state = denied ? TICK_DENIED : TICK_GIVEN;
    copy(tick->words, sizeof tick->words, words, length);
}

/* One clause: "filled and bled". Returns how many items it is about, each of which it ticks in
 * `list` unless that is NULL. */
static size_t take_clause(struct checklist *list, const struct tick *said, const char *clause,
                          size_t length)
{
    bool about[CHECK_COUNT] = {false};
    struct plain plain = plain_of(clause, length);
    size_t count = 0;
    find_items(&plain, about);
    for (size_t i = 0; i < CHECK_COUNT; i++) {
        if (about[i] && list != NULL)
            put(&list->ticks[i], said, clause, length);
        count += about[i];
    }
    return count;
}

/* The clauses of a text, one after the other; NULL behind the last one. A period within a word
 * ("K.Marsh") or behind a single letter ("K. Marsh") parts nothing. */
static const char *next_clause(const char *text, size_t *length)
{
    if (*text == '\0')
        return NULL;
    for (*length = 0; text[*length] != '\0'; (*length)++) {
        const char *at = text + *length;
        bool initial = *length == 1 || (*length > 1 && at[-2] == ' ');
        if (*at == ',' || *at == ';' || (*at == '.' && (at[1] == ' ' || at[1] == '\0') && !initial))
            break;
    }
    return text;
}

/* What a text says of no item, the first such clause. */
static void find_rest(const char *text, char *rest, size_t room)
{
    size_t length;
    for (const char *at = text; (at = next_clause(at, &length)) != NULL;
         at += length + (at[length] != '\0'))
        if (rest[0] == '\0' && take_clause(NULL, NULL, at, length) == 0)
            copy(rest, room, at, length);
}

static size_t take(struct checklist *list, struct tick said, const char *text)
{
    size_t count = 0, length;
    find_rest(text, said.rest, sizeof said.rest);
    for (const char *at = text; (at = next_clause(at, &length)) != NULL;
         at += length + (at[length] != '\0'))
        count += take_clause(list, &said, at, length);
    return count;
}

/* Length without " (uid 1000)", which the logger puts behind a mark: whose account asked for it. */
static size_t without_account(const char *text)
{
    size_t length = strlen(text), digits = 0;
    const char *at = strrchr(text, '(');
    if (at == NULL || strncmp(at, "(uid ", 5) != 0)
        return length;
    digits = strspn(at + 5, "0123456789");
    return digits > 0 && strcmp(at + 5 + digits, ")") == 0 ? (size_t)(at - text) : length;
}

size_t checklist_take_mark(struct checklist *list, size_t run, double time, const char *text)
{
    char words[512];
    size_t length = without_account(text);
    copy(words, sizeof words, text, length);
    return take(list, (struct tick){.run = run, .time = time}, words);
}

size_t checklist_take_note(struct checklist *list, size_t run, const char *key, const char *value)
{
    struct tick said = {.run = run, .time = NAN};
    if (strcmp(key, "done") == 0)
        return take(list, said, value);
    for (size_t i = 0; i < CHECK_COUNT; i++)
        if (strcmp(key, rows[i].key) == 0) {
            put(&list->ticks[i], &said, value, strlen(value));
            return 1;
        }
    return 0;
}

bool checklist_any(const struct checklist *list)
{
    for (size_t i = 0; i < CHECK_COUNT; i++)
        if (list->ticks[i].state != TICK_NONE)
            return true;
    return false;
}
