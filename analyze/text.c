/* text.c - growing text and its escapes. */
#include "text.h"

#include <ctype.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define BROKEN 0xFFFDu

void text_free(struct text *text)
{
    free(text->bytes);
    *text = (struct text){0};
}

const char *text_string(const struct text *text)
{
    return text->bytes != NULL ? text->bytes : "";
}

char *text_take(struct text *text)
{
    if (!text->failed && text->bytes == NULL)
        text_add_bytes(text, "", 0);
    char *bytes = text->bytes;
    if (text->failed) {
        free(bytes);
        bytes = NULL;
    }
    *text = (struct text){0};
    return bytes;
}

/* Makes room for `more` bytes and the final NUL. */
static bool grow(struct text *text, size_t more)
{
    if (text->failed)
        return false;
    if (text->bytes != NULL && more < text->room - text->length)
        return true;
    if (more > SIZE_MAX / 4 || text->length > SIZE_MAX / 4) {
        text->failed = true;
        return false;
    }
    size_t room = (text->length + more + 1) * 2;
    char *bytes = realloc(text->bytes, room < 64 ? 64 : room);
    if (bytes == NULL) {
        text->failed = true;
        return false;
    }
    text->bytes = bytes;
    text->room = room < 64 ? 64 : room;
    return true;
}

void text_add_bytes(struct text *text, const char *bytes, size_t length)
{
    if (!grow(text, length))
        return;
    memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
    text->bytes[text->length] = '\0';
}

void text_add(struct text *text, const char *string)
{
    text_add_bytes(text, string, strlen(string));
}

void text_add_many(struct text *text, const char *string, size_t times)
{
    for (size_t i = 0; i < times; i++)
        text_add(text, string);
}

void text_addf(struct text *text, const char *format, ...)
{
    va_list list, again;
    va_start(list, format);
    va_copy(again, list);
    int length = vsnprintf(NULL, 0, format, list);
    if (length >= 0 && grow(text, (size_t)length)) {
        vsnprintf(text->bytes + text->length, (size_t)length + 1, format, again);
        text->length += (size_t)length;
    }
    va_end(again);
    va_end(list);
}

/* --- UTF-8 */

/* How many bytes a first byte announces, 0 if it cannot be first; *low is the least code
 * allowed. */
static size_t announced(unsigned char first, unsigned *low)
{
    if (first < 0x80) {
        *low = 0;
        return 1;
    }
    if (first >= 0xC2 && first < 0xE0) {
        *low = 0x80;
        return 2;
    }
    if (first >= 0xE0 && first < 0xF0) {
        *low = 0x800;
        return 3;
    }
    if (first >= 0xF0 && first < 0xF5) {
        *low = 0x10000;
        return 4;
    }
    return 0;
}

size_t text_decode(const char *at, unsigned *code)
{
    const unsigned char *byte = (const unsigned char *)at;
    unsigned low = 0;
    size_t length = announced(byte[0], &low);
    *code = BROKEN;
    if (length == 0)
        return 1;
    unsigned value = length == 1 ? byte[0] : byte[0] & (0xFFu >> (length + 1));
    for (size_t i = 1; i < length; i++) {
        if ((byte[i] & 0xC0) != 0x80)
            return 1;
        value = value << 6 | (byte[i] & 0x3Fu);
    }
    if (value < low || value > 0x10FFFF || (value >= 0xD800 && value < 0xE000))
        return 1;
    *code = value;
    return length;
}

/* The next letter or digit, in lower case; bytes of other scripts count as letters, but not the
 * curled apostrophe, U+2019. '\0' at the end. */
static int next_sign(const char **at)
{
    static const char curled[] = "\u2019";
    while (**at != '\0') {
        if (strncmp(*at, curled, sizeof curled - 1) == 0)
            *at += sizeof curled - 1;
        if (**at == '\0')
            break;
        unsigned char byte = (unsigned char)*(*at)++;
        if (byte >= 0x80 || isalnum(byte))
            return tolower(byte);
    }
    return '\0';
}

bool text_same_words(const char *a, const char *b)
{
    int one, other;
    do {
        one = next_sign(&a);
        other = next_sign(&b);
    } while (one == other && one != '\0');
    return one == other;
}

struct code_range {
    unsigned first, last;
};

static bool in_ranges(unsigned code, const struct code_range *ranges, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (code >= ranges[i].first && code <= ranges[i].last)
            return true;
    return false;
}
#define IN(code, ranges) in_ranges(code, ranges, sizeof(ranges) / sizeof((ranges)[0]))

/* Controls, line and paragraph separators, and marks that turn the direction of writing (Unicode
 * Standard, sections 23.1 and 23.2): they could make a report show something else than it holds. */
static const struct code_range unshown[] = {
    {0x00, 0x1F},     {0x7F, 0x9F},     {0x061C, 0x061C}, {0x200B, 0x200B}, {0x200E, 0x200F},
    {0x2028, 0x202E}, {0x2060, 0x206F}, {0xFEFF, 0xFEFF}, {0xFFF9, 0xFFFB}, {0xE0000, 0xE0FFF}};
/* The main blocks of combining marks, and of characters that are two columns wide (Unicode Standard
 * Annex 11, East Asian Width, classes W and F, whole blocks). */
static const struct code_range marks[] = {
    {0x0300, 0x036F}, {0x0483, 0x0489}, {0x0591, 0x05BD}, {0x064B, 0x065F}, {0x200C, 0x200D},
    {0x1AB0, 0x1AFF}, {0x1DC0, 0x1DFF}, {0x20D0, 0x20FF}, {0xFE00, 0xFE0F}, {0xFE20, 0xFE2F}};
static const struct code_range wide[] = {
    {0x1100, 0x115F},   {0x2E80, 0x303E},   {0x3041, 0xA4CF},  {0xA960, 0xA97C}, {0xAC00, 0xD7A3},
    {0xF900, 0xFAFF},   {0xFE30, 0xFE6F},   {0xFF00, 0xFF60},  {0xFFE0, 0xFFE6}, {0x1F300, 0x1F64F},
    {0x1F680, 0x1F6FF}, {0x1F900, 0x1F9FF}, {0x20000, 0x3FFFD}};

size_t text_columns_of(unsigned code)
{
    if (code < 0x300)
        return 1;
    if (IN(code, marks))
        return 0;
    return IN(code, wide) ? 2 : 1;
}

size_t text_columns(const char *string)
{
    size_t columns = 0;
    while (*string != '\0') {
        unsigned code;
        string += text_decode(string, &code);
        columns += text_columns_of(code);
    }
    return columns;
}

/* --- cleaning */

static void add_code(struct text *text, unsigned code)
{
    char bytes[4];
    size_t length = 0;
    if (code < 0x80) {
        bytes[length++] = (char)code;
    } else if (code < 0x800) {
        bytes[length++] = (char)(0xC0 | code >> 6);
        bytes[length++] = (char)(0x80 | (code & 0x3F));
    } else if (code < 0x10000) {
        bytes[length++] = (char)(0xE0 | code >> 12);
        bytes[length++] = (char)(0x80 | (code >> 6 & 0x3F));
        bytes[length++] = (char)(0x80 | (code & 0x3F));
    } else {
        bytes[length++] = (char)(0xF0 | code >> 18);
        bytes[length++] = (char)(0x80 | (code >> 12 & 0x3F));
        bytes[length++] = (char)(0x80 | (code >> 6 & 0x3F));
        bytes[length++] = (char)(0x80 | (code & 0x3F));
    }
    text_add_bytes(text, bytes, length);
}

/* Takes the next character of `*at`, cleaned: runs of what is not shown are one space. */
static unsigned next_clean(const char **at)
{
    unsigned code;
    *at += text_decode(*at, &code);
    if (!IN(code, unshown))
        return code;
    while (**at != '\0') {
        size_t length = text_decode(*at, &code);
        if (!IN(code, unshown))
            break;
        *at += length;
    }
    return ' ';
}

void text_clean(struct text *text, const char *string)
{
    while (*string != '\0')
        add_code(text, next_clean(&string));
}

static size_t clean_columns(const char *string)
{
    size_t columns = 0;
    while (*string != '\0')
        columns += text_columns_of(next_clean(&string));
    return columns;
}

void text_clip(struct text *text, const char *string, size_t columns)
{
    if (clean_columns(string) <= columns) {
        text_clean(text, string);
        return;
    }
    size_t used = 0;
    while (*string != '\0') {
        unsigned code = next_clean(&string);
        used += text_columns_of(code);
        if (used + 1 > columns)
            break;
        add_code(text, code);
    }
    text_add(text, "…");
}

void text_valid(struct text *text, const char *string)
{
    while (*string != '\0') {
        unsigned code;
        string += text_decode(string, &code);
        add_code(text, code);
    }
}

/* --- escapes */

void text_html(struct text *text, const char *string)
{
    while (*string != '\0') {
        unsigned code = next_clean(&string);
        switch (code) {
        case '&':
            text_add(text, "&amp;");
            break;
        case '<':
            text_add(text, "&lt;");
            break;
        case '>':
            text_add(text, "&gt;");
            break;
        case '"':
            text_add(text, "&quot;");
            break;
        case '\'':
            text_add(text, "&#39;");
            break;
        default:
            add_code(text, code);
        }
    }
}

/* gnuplot's own escape of a quote in single quotes ('') fails at the start of a string (seen with
 * 5.4.4), so a quote becomes an apostrophe: then nothing in the string can end it. */
void text_gnuplot(struct text *text, const char *string, size_t columns)
{
    struct text clipped = {0};
    text_clip(&clipped, string, columns);
    text->failed |= clipped.failed;
    text_add(text, "'");
    for (const char *at = text_string(&clipped); *at != '\0'; at++)
        if (*at == '\'')
            text_add(text, "’");
        else
            text_add_bytes(text, at, 1);
    text_add(text, "'");
    text_free(&clipped);
}

void text_csv(struct text *text, const char *string)
{
    bool formula = *string != '\0' && strchr("=+-@\t\r", *string) != NULL;
    if (!formula && strpbrk(string, ",\"\r\n;") == NULL) {
        text_clean(text, string);
        return;
    }
    text_add(text, formula ? "\"'" : "\"");
    while (*string != '\0') {
        unsigned code = next_clean(&string);
        if (code == '"')
            text_add(text, "\"");
        add_code(text, code);
    }
    text_add(text, "\"");
}

static bool needs_quotes(const char *string)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
                                "_-./,:=%+";
    return *string == '\0' || string[strspn(string, plain)] != '\0';
}

static bool has_controls(const char *string)
{
    for (; *string != '\0'; string++)
        if ((unsigned char)*string < 0x20 || *string == 0x7F)
            return true;
    return false;
}

void text_shell(struct text *text, const char *string)
{
    if (!needs_quotes(string)) {
        text_add(text, string);
        return;
    }
    bool controls = has_controls(string);
    text_add(text, controls ? "$'" : "'");
    for (; *string != '\0'; string++) {
        unsigned char byte = (unsigned char)*string;
        if (controls && (byte < 0x20 || byte == 0x7F))
            text_addf(text, "\\%03o", byte);
        else if (controls && (byte == '\'' || byte == '\\'))
            text_addf(text, "\\%c", byte);
        else if (byte == '\'')
            text_add(text, "'\\''");
        else
            text_add_bytes(text, string, 1);
    }
    text_add(text, "'");
}
