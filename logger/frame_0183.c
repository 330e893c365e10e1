/* frame_0183.c - bytes to 0183 sentences. */
#include "frame_0183.h"

#include <string.h>

#include "fields_0183.h"

#define MAX_SENTENCE 82 /* start character to LF, both included */
#define TAG_SOURCE_MAX 15

/* --- eight characters at a time --------------------------------------------------------------- */

/* Lines are looked at in words of eight characters. A word that may hold a character that matters
 * is then looked at one by one. */
#define WORD sizeof(uint64_t)
#define ONES (UINT64_MAX / 255)
#define TOPS (ONES * 0x80)

static uint64_t word_load(const void *bytes)
{
    uint64_t word;
    memcpy(&word, bytes, WORD);
    return word;
}

/* Any character below `limit`, which is at most 0x80. */
static bool any_below(uint64_t word, unsigned limit)
{
    return ((word - ONES * limit) & ~word & TOPS) != 0;
}

static bool any_equal(uint64_t word, char c)
{
    uint64_t differs = word ^ (ONES * (unsigned char)c);
    return any_below(differs, 1);
}

/* XOR of the eight characters. */
static unsigned char word_fold(uint64_t word)
{
    word ^= word >> 32;
    word ^= word >> 16;
    word ^= word >> 8;
    return (unsigned char)(word & 0xFF);
}

/* --- the text between the start character and the checksum ------------------------------------ */

/* Characters that a sound sentence does not hold. Above 7E is not allowed either, but talkers with
 * names in another language send it; such a sentence is kept and counted. */
static bool is_forbidden(unsigned char c)
{
    return c < 0x20 || c == 0x7F || c == '*' || c == '\\';
}

struct content {
    unsigned char checksum;
    bool forbidden, foreign;
};

static void look_closely(struct content *content, const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)text[i];
        content->forbidden |= is_forbidden(c);
        content->foreign |= c > 0x7E;
    }
}

static bool is_ordinary(uint64_t word)
{
    bool above = ((word | (word + ONES)) & TOPS) != 0;
    return !above && !any_below(word, '*' + 1) && !any_equal(word, '\\');
}

static struct content content_of(const char *text, size_t length)
{
    struct content content = {0};
    uint64_t sum = 0;
    size_t i = 0;
    for (; i + WORD <= length; i += WORD) {
        uint64_t word = word_load(text + i);
        sum ^= word;
        if (!is_ordinary(word))
            look_closely(&content, text + i, WORD);
    }
    content.checksum = word_fold(sum);
    look_closely(&content, text + i, length - i);
    for (; i < length; i++)
        content.checksum ^= (unsigned char)text[i];
    return content;
}

/* Value of the two hexadecimal digits, or -1. */
static int hex_pair(const char *text)
{
    int high = hex_digit(text[0]), low = hex_digit(text[1]);
    return high < 0 || low < 0 ? -1 : high * 16 + low;
}

static size_t strip_end(const char *text, size_t length)
{
    while (length > 0 && (text[length - 1] == ' ' || text[length - 1] == '\t' ||
                          text[length - 1] == '\r' || text[length - 1] == '\n'))
        length--;
    return length;
}

/* --- TAG blocks ------------------------------------------------------------------------------- */

struct tag {
    char source[TAG_SOURCE_MAX + 1];
    bool has_source, has_time;
    int64_t unix_ms;
};

static bool tag_time(const char *text, size_t length, struct tag *tag)
{
    int64_t value = 0;
    if (length != 10 && length != 13)
        return false;
    for (size_t i = 0; i < length; i++) {
        if (text[i] < '0' || text[i] > '9')
            return false;
        value = value * 10 + (text[i] - '0');
    }
    tag->unix_ms = length == 10 ? value * 1000 : value;
    tag->has_time = true;
    return true;
}

static bool tag_source(const char *text, size_t length, struct tag *tag)
{
    if (length == 0 || length > TAG_SOURCE_MAX)
        return false;
    memset(tag->source, 0, sizeof tag->source);
    memcpy(tag->source, text, length);
    tag->has_source = true;
    return true;
}

/* One "key:value"; keys that say nothing about source or time are skipped. */
static bool tag_item(const char *text, size_t length, struct tag *tag)
{
    const char *colon = memchr(text, ':', length);
    if (!colon || colon == text)
        return false;
    const char *value = colon + 1;
    size_t value_length = length - (size_t)(value - text);
    if (colon != text + 1)
        return true;
    if (text[0] == 'c')
        return tag_time(value, value_length, tag);
    if (text[0] == 's')
        return tag_source(value, value_length, tag);
    return true;
}

/* What stands between the two backslashes. A block counts as a whole or not at all. */
static bool tag_block(const char *text, size_t length, struct tag *tag)
{
    if (length < 3 || text[length - 3] != '*')
        return false;
    struct content content = content_of(text, length - 3);
    if (content.forbidden || content.foreign || hex_pair(text + length - 2) != content.checksum)
        return false;
    for (const char *p = text, *end = text + length - 3; p < end;) {
        const char *comma = memchr(p, ',', (size_t)(end - p));
        const char *stop = comma ? comma : end;
        if (!tag_item(p, (size_t)(stop - p), tag))
            return false;
        p = stop + 1;
    }
    return true;
}

static void tag_apply(const struct tag *tag, struct sentence *sentence)
{
    if (tag->has_source)
        memcpy(sentence->source, tag->source, sizeof tag->source);
    if (tag->has_time) {
        sentence->has_time = true;
        sentence->unix_ms = tag->unix_ms;
    }
}

/* Blocks in a row: what a later one says stands. False if one of them was malformed. */
static bool tags_read(const char *text, size_t length, struct sentence *sentence)
{
    bool sound = true;
    for (const char *p = text, *end = text + length; p < end;) {
        const char *close = memchr(p + 1, '\\', (size_t)(end - p - 1));
        if (!close)
            return false;
        struct tag tag = {.has_time = false};
        if (tag_block(p + 1, (size_t)(close - p - 1), &tag))
            tag_apply(&tag, sentence);
        else
            sound = false;
        p = close + 1;
    }
    return sound;
}

/* Where the TAG blocks that end right before `end` begin; `end` if there are none. */
static size_t tags_begin(const char *line, size_t end)
{
    while (end >= 2 && line[end - 1] == '\\') {
        const char *open = memrchr(line, '\\', end - 1);
        if (!open)
            break;
        end = (size_t)(open - line);
    }
    return end;
}

/* --- one piece -------------------------------------------------------------------------------- */

/* Says what is wrong with a sentence that does not end in '*' and two characters. */
static enum reason end_fault(const char *text, size_t length)
{
    const char *star = memchr(text, '*', length);
    if (length == 0)
        return REASON_TRUNCATED;
    if (!star)
        return REASON_NO_CHECKSUM;
    return text + length - star < 3 ? REASON_TRUNCATED : REASON_BAD_CHECKSUM;
}

/* `text` begins behind the start character. Returns REASON_SENTENCES or why it is refused. */
static enum reason judge_sentence(const char *text, size_t length, struct content *content)
{
    if (length < 3 || text[length - 3] != '*')
        return end_fault(text, length);
    *content = content_of(text, length - 3);
    if (hex_pair(text + length - 2) != content->checksum)
        return REASON_BAD_CHECKSUM;
    return content->forbidden ? REASON_BAD_CHARACTER : REASON_SENTENCES;
}

static enum framing frame_sentence(int64_t at, const char *start, size_t length,
                                   struct sentence *sentence, struct tally *tally)
{
    struct content content = {0};
    length = strip_end(start, length);
    enum reason why = judge_sentence(start + 1, length - 1, &content);
    tally_add(tally, why, at);
    if (why != REASON_SENTENCES)
        return FRAME_BAD;
    if (content.foreign)
        tally_add(tally, REASON_BAD_CHARACTER, at);
    if (length + 2 > MAX_SENTENCE)
        tally_add(tally, REASON_OVER_82, at);
    sentence->text = start + 1;
    sentence->length = length - 4;
    sentence->encapsulated = start[0] == '!';
    return FRAME_READY;
}

/* Counts what stands before the TAG blocks of a sentence. */
static void count_before(int64_t at, const char *text, size_t length, struct tally *tally)
{
    if (memchr(text, '$', length) || memchr(text, '!', length))
        tally_add(tally, REASON_TRUNCATED, at);
    else if (memchr(text, '\\', length))
        tally_add(tally, REASON_BAD_TAG_BLOCK, at);
    else
        tally_add_many(tally, REASON_NOISE_BYTES, at, length);
}

/* A piece without a sentence: TAG blocks alone, or noise. */
static enum framing frame_rest(int64_t at, const char *line, size_t length, struct tally *tally)
{
    struct sentence none;
    size_t end = strip_end(line, length);
    if (end == 0 || line[0] != '\\')
        tally_add_many(tally, REASON_NOISE_BYTES, at, length);
    else
        tally_add(tally, tags_read(line, end, &none) ? REASON_NOT_OURS : REASON_BAD_TAG_BLOCK, at);
    return FRAME_BAD;
}

/* The last start character of the line, or NULL. */
static const char *find_start(const char *line, size_t length)
{
    const char *dollar = memrchr(line, '$', length), *bang = memrchr(line, '!', length);
    if (!dollar || !bang)
        return dollar ? dollar : bang;
    return dollar > bang ? dollar : bang;
}

enum framing frame_0183_line(int64_t at, const char *line, size_t length, struct sentence *sentence,
                             struct tally *tally)
{
    memset(sentence, 0, sizeof *sentence);
    if (length > LINE_0183_MAX) {
        tally_add(tally, REASON_TOO_LONG, at);
        return FRAME_BAD;
    }
    const char *start = find_start(line, length);
    if (!start)
        return length > 0 ? frame_rest(at, line, length, tally) : FRAME_NEED_MORE;
    size_t before = (size_t)(start - line), tags = tags_begin(line, before);
    if (tags > 0)
        count_before(at, line, tags, tally);
    if (!tags_read(line + tags, before - tags, sentence))
        tally_add(tally, REASON_BAD_TAG_BLOCK, at);
    return frame_sentence(at, start, length - before, sentence, tally);
}

/* --- the stream ------------------------------------------------------------------------------- */

static bool is_start(char c)
{
    return c == '$' || c == '!';
}

static bool is_end(char c)
{
    return c == '\n' || c == '\r';
}

/* Characters that change the state of the framer. */
static bool is_mark(unsigned char c)
{
    const uint64_t marks =
        UINT64_C(1) << '\n' | UINT64_C(1) << '\r' | UINT64_C(1) << '$' | UINT64_C(1) << '!';
    return c < 64 ? marks >> c & 1 : c == '\\';
}

/* How many bytes come before the next mark. */
static size_t plain_span(const uint8_t *bytes, size_t count)
{
    size_t n = 0;
    for (; n + WORD <= count; n += WORD) {
        uint64_t word = word_load(bytes + n);
        if (!any_below(word, '$' + 1) && !any_equal(word, '\\'))
            continue;
        for (size_t i = 0; i < WORD; i++)
            if (is_mark(bytes[n + i]))
                return n + i;
    }
    while (n < count && !is_mark(bytes[n]))
        n++;
    return n;
}

void framer_0183_reset(struct framer_0183 *framer)
{
    framer->length = 0;
    framer->started = false;
    framer->given = false;
    framer->carries = false;
    framer->carried = '\0';
}

static void append(struct framer_0183 *framer, const uint8_t *bytes, size_t count)
{
    memcpy(framer->line + framer->length, bytes, count);
    framer->length += count;
}

static void append_char(struct framer_0183 *framer, char c)
{
    framer->line[framer->length++] = c;
    framer->started |= is_start(c);
}

/* Drops the piece that was handed out and begins with the character it left behind. */
static void drop_given(struct framer_0183 *framer)
{
    if (!framer->given)
        return;
    bool carries = framer->carries;
    char carried = framer->carried;
    framer_0183_reset(framer);
    if (carries)
        append_char(framer, carried);
}

static void carry(struct framer_0183 *framer, char c)
{
    framer->carries = true;
    framer->carried = c;
}

/* TAG blocks without a sentence so far. */
static bool is_tag_so_far(const struct framer_0183 *framer)
{
    return framer->length > 0 && framer->line[0] == '\\' && !framer->started;
}

/* Whether `c`, which is a mark but no line end, begins the next piece. TAG blocks take every '\',
 * and a start character that follows one. */
static bool begins_next(const struct framer_0183 *framer, char c)
{
    if (!is_tag_so_far(framer))
        return framer->length > 0;
    return is_start(c) && (framer->length == 1 || framer->line[framer->length - 1] != '\\');
}

struct handed {
    struct sentence *sentence;
    const char **raw;
    size_t *raw_length;
    struct tally *tally;
};

static void hand_out(struct framer_0183 *framer, const struct handed *to)
{
    framer->given = true;
    if (to->raw)
        *to->raw = framer->line;
    if (to->raw_length)
        *to->raw_length = framer->length;
}

static enum framing give_piece(struct framer_0183 *framer, int64_t at, const struct handed *to)
{
    hand_out(framer, to);
    return frame_0183_line(at, framer->line, framer->length, to->sentence, to->tally);
}

static enum framing give_overlong(struct framer_0183 *framer, int64_t at, const struct handed *to)
{
    hand_out(framer, to);
    if (framer->started || framer->line[0] == '\\')
        tally_add(to->tally, REASON_TOO_LONG, at);
    else
        tally_add_many(to->tally, REASON_NOISE_BYTES, at, framer->length);
    return FRAME_BAD;
}

/* Takes plain bytes up to a mark, the end or the room there is. */
static size_t take_plain(struct framer_0183 *framer, const uint8_t *bytes, size_t count)
{
    size_t room = LINE_0183_MAX - framer->length;
    size_t span = plain_span(bytes, count < room ? count : room);
    append(framer, bytes, span);
    return span;
}

/* Takes one character that is a mark or did not fit. NEED_MORE if the piece goes on. */
static enum framing take_char(struct framer_0183 *framer, int64_t at, char c,
                              const struct handed *to)
{
    if (is_end(c))
        return framer->length > 0 ? give_piece(framer, at, to) : FRAME_NEED_MORE;
    if (is_mark((unsigned char)c) && begins_next(framer, c)) {
        carry(framer, c);
        return give_piece(framer, at, to);
    }
    if (framer->length == LINE_0183_MAX) {
        carry(framer, c);
        return give_overlong(framer, at, to);
    }
    append_char(framer, c);
    return FRAME_NEED_MORE;
}

enum framing framer_0183_push(struct framer_0183 *framer, int64_t at, const uint8_t *bytes,
                              size_t count, size_t *used, struct sentence *sentence,
                              const char **raw, size_t *raw_length, struct tally *tally)
{
    const struct handed to = {sentence, raw, raw_length, tally};
    enum framing result = FRAME_NEED_MORE;
    size_t n = 0;
    drop_given(framer);
    while (result == FRAME_NEED_MORE && n < count) {
        n += take_plain(framer, bytes + n, count - n);
        if (n < count)
            result = take_char(framer, at, (char)bytes[n++], &to);
    }
    *used = n;
    return result;
}

enum framing framer_0183_flush(struct framer_0183 *framer, int64_t at, struct sentence *sentence,
                               const char **raw, size_t *raw_length, struct tally *tally)
{
    const struct handed to = {sentence, raw, raw_length, tally};
    drop_given(framer);
    return framer->length > 0 ? give_piece(framer, at, &to) : FRAME_NEED_MORE;
}

/* --- datagrams -------------------------------------------------------------------------------- */

enum datagram_0183 datagram_0183_kind(const uint8_t *bytes, size_t count, size_t *lines)
{
    static const char tagged[6] = "UdPbC";
    *lines = 0;
    if (count >= sizeof tagged && memcmp(bytes, tagged, sizeof tagged) == 0) {
        *lines = sizeof tagged;
        return DATAGRAM_TAGGED;
    }
    /* Every foreign prefix ends in a NUL; plain lines begin with a start character, or blanks. */
    if (count >= sizeof tagged && bytes[sizeof tagged - 1] == '\0')
        return DATAGRAM_FOREIGN;
    return DATAGRAM_PLAIN;
}
