/* test_frame_0183.c - cutting a stream into sentences: what is sound is never lost behind what is
 * not, and what is not sound never gives a number.
 *
 * Facts on framing: the public guide to NMEA 0183 of the gpsd project. TAG blocks: common knowledge
 * of IEC 61162-450, no open text. More lines and their results stand in tests/captures. */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "record_0183.h"

static const char good[] = "$IIMTW,17.9,C*1C";

static struct record *fresh(void)
{
    static struct record record;
    memset(&record, 0, sizeof record);
    record_clear(&record);
    return &record;
}

static void assert_text(const struct record *record, const char *text)
{
    assert_int_equal(record->last.length, strlen(text));
    assert_memory_equal(record->last.text, text, strlen(text));
}

/* --- single lines ----------------------------------------------------------------------------- */

/* `text` is what is in the sentence, or NULL if it is refused for `reason`. */
static const struct line_case {
    const char *line, *text;
    enum reason reason;
} line_cases[] = {
    {"$IIMTW,17.9,C*1C", "IIMTW,17.9,C", REASON_SENTENCES},
    {"$IIMTW,17.9,C*1c", "IIMTW,17.9,C", REASON_SENTENCES},
    {"$IIMTW,17.9,C*1C \t\r", "IIMTW,17.9,C", REASON_SENTENCES},
    {"  $IIMTW,17.9,C*1C", "IIMTW,17.9,C", REASON_NOISE_BYTES},
    {"$ERRPM,E,1,24$IIMTW,17.9,C*1C", "IIMTW,17.9,C", REASON_TRUNCATED},
    {"$IIMTW,17.9,C*1C$ERRPM,E,1,24", NULL, REASON_NO_CHECKSUM},
    {"!AIVDM,1,1,,A,13u?etPv2;0n:dDPwUM1U1Cb069D,0*24",
     "AIVDM,1,1,,A,13u?etPv2;0n:dDPwUM1U1Cb069D,0", REASON_SENTENCES},
    {"$*00", "", REASON_SENTENCES},
    {"$IIMTW,17.9,C*1D", NULL, REASON_BAD_CHECKSUM},
    {"$IIMTW,17.9,C*1CX", NULL, REASON_BAD_CHECKSUM},
    {"$IIMTW,17.9,C*0x1C", NULL, REASON_BAD_CHECKSUM},
    {"$ERRPM,E,1,2418.5,10.5,A*5G", NULL, REASON_BAD_CHECKSUM},
    {"$IIMTW,17.9,C*+C", NULL, REASON_BAD_CHECKSUM},
    {"$IIMTW,17.9,C* C", NULL, REASON_BAD_CHECKSUM},
    {"$IIMTW,17.9,C*1", NULL, REASON_TRUNCATED},
    {"$IIMTW,17.9,C*", NULL, REASON_TRUNCATED},
    {"$IIMTW,17.9,C", NULL, REASON_NO_CHECKSUM},
    {"$I", NULL, REASON_NO_CHECKSUM},
    {"$", NULL, REASON_TRUNCATED},
    {"IIMTW,17.9,C*1C", NULL, REASON_NOISE_BYTES},
    {"\x7f\x80 junk", NULL, REASON_NOISE_BYTES},
    /* a star, a control character or a backslash inside, checksum right */
    {"$IIMTW,1*7.9,C*36", NULL, REASON_BAD_CHARACTER},
    {"$IIMTW,17\t.9,C*15", NULL, REASON_BAD_CHARACTER},
    {"$IIMTW,17.9,C\x7f*63", NULL, REASON_BAD_CHARACTER},
    {"$IIMTW,17\\.9,C*40", NULL, REASON_BAD_CHARACTER},
    {"$IITXT,K\xFC"
     "hl*C7",
     "IITXT,K\xFC"
     "hl",
     REASON_BAD_CHARACTER},
};

static void lines(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof line_cases / sizeof line_cases[0]; i++) {
        const struct line_case *row = &line_cases[i];
        struct record *record = fresh();
        record_line(record, row->line, strlen(row->line));
        if ((record->ready == 1) != (row->text != NULL) || record_counted(record, row->reason) == 0)
            fail_msg("%s", row->line);
        if (row->text)
            assert_text(record, row->text);
        assert_int_equal(record->bad, row->text ? 0 : 1);
    }
}

static void empty_line_is_nothing(void **state)
{
    (void)state;
    struct record *record = fresh(), untouched = *record;
    record_line(record, "", 0);
    record_stream(record, "\r\n\n\r\r\n", 6);
    assert_memory_equal(record, &untouched, sizeof untouched);
}

static void start_character_is_told(void **state)
{
    (void)state;
    struct record *record = fresh();
    record_line(record, good, strlen(good));
    assert_false(record->last.encapsulated);
    record_line(record, "!IIMTW,17.9,C*1C", strlen(good));
    assert_true(record->last.encapsulated);
}

/* --- length ----------------------------------------------------------------------------------- */

/* A sound sentence of `length` characters without CR LF. */
static void make_long(char *line, size_t length)
{
    char body[6000];
    memset(body, 'E', sizeof body);
    memcpy(body, "YXXDR,C,82.5,C,", 15);
    body[length - 4] = '\0';
    assert_int_equal(record_close(body, line, length + 1), length);
}

static void length_is_bounded(void **state)
{
    (void)state;
    char line[6000];
    static const struct {
        size_t length;
        unsigned ready, over_82, too_long;
    } rows[] = {
        {80, 1, 0, 0},   {81, 1, 1, 0}, {LINE_0183_MAX, 1, 1, 0}, {LINE_0183_MAX + 1, 0, 0, 1},
        {5000, 0, 0, 1},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct record *record = fresh();
        make_long(line, rows[i].length);
        memcpy(line + rows[i].length, "\r\n", 3);
        record_stream(record, line, rows[i].length + 2);
        assert_int_equal(record->ready, rows[i].ready);
        assert_int_equal(record_counted(record, REASON_OVER_82), rows[i].over_82);
        assert_int_equal(record_counted(record, REASON_TOO_LONG), rows[i].too_long);
        record_stream(record, good, strlen(good));
        assert_int_equal(record->ready, rows[i].ready + 1);
        record_clear(record);
        record_line(record, line, rows[i].length);
        assert_int_equal(record->ready, rows[i].ready);
    }
}

/* --- TAG blocks ------------------------------------------------------------------------------- */

#define RPM "$ERRPM,E,1,2418.5,10.5,A*4F"

static const struct tag_case {
    const char *line, *source;
    int64_t unix_ms; /* -1 = none */
    unsigned bad;    /* malformed blocks counted */
} tag_cases[] = {
    {RPM, "", -1, 0},
    {"\\s:ER0001,c:1718461353*23\\" RPM, "ER0001", INT64_C(1718461353000), 0},
    {"\\c:1764057600123,s:ER0001*1A\\" RPM, "ER0001", INT64_C(1764057600123), 0},
    {"\\g:1-2-34,s:ER0001*2A\\" RPM, "ER0001", -1, 0},
    {"\\t:sea trial*7B\\" RPM, "", -1, 0},
    /* blocks in a row: what a later one says stands, what it leaves out stays */
    {"\\c:1764057600123,s:ER0001*1A\\\\s:A*08\\" RPM, "A", INT64_C(1764057600123), 0},
    {"\\s:ER0001*5F\\\\c:1718461353*50\\" RPM, "ER0001", INT64_C(1718461353000), 0},
    /* malformed ones */
    {"\\s:ER0001,c:1718461353*00\\" RPM, "", -1, 1},
    {"\\s:ER0001*5F\\\\s:B*00\\" RPM, "ER0001", -1, 1},
    {"\\s:ER0001,c:1718461353*23" RPM, "", -1, 1},
    {"\\s:ER0001\\" RPM, "", -1, 1},
    {"\\\\" RPM, "", -1, 1},
    {"\\" RPM, "", -1, 1},
    {"\\*00\\" RPM, "", -1, 0},
    {"\\c:171846135*63\\" RPM, "", -1, 1},        /* nine digits */
    {"\\c:-718461353*4C\\" RPM, "", -1, 1},       /* a sign */
    {"\\c:1718461353.5*4B\\" RPM, "", -1, 1},     /* a point */
    {"\\s:*49\\" RPM, "", -1, 1},                 /* nothing */
    {"\\s:ABCDEFGHIJKLMNOP*59\\" RPM, "", -1, 1}, /* 16 characters */
    {"\\:x*42\\" RPM, "", -1, 1},                 /* no key */
};

static void tags(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof tag_cases / sizeof tag_cases[0]; i++) {
        const struct tag_case *row = &tag_cases[i];
        for (int whole = 0; whole < 2; whole++) {
            struct record *record = fresh();
            if (whole)
                record_line(record, row->line, strlen(row->line));
            else
                record_stream(record, row->line, strlen(row->line));
            if (record->ready != 1 || strcmp(record->last.source, row->source) != 0 ||
                record->last.has_time != (row->unix_ms >= 0) ||
                (row->unix_ms >= 0 && record->last.unix_ms != row->unix_ms) ||
                record_counted(record, REASON_BAD_TAG_BLOCK) != row->bad)
                fail_msg("%s: source %s, %u malformed", row->line, record->last.source,
                         (unsigned)record_counted(record, REASON_BAD_TAG_BLOCK));
        }
    }
}

static void tag_block_alone(void **state)
{
    (void)state;
    struct record *record = fresh();
    record_stream(record, "\\s:ER0001*5F\\\r\n\\s:ER0001*5E\\\r\n\\s:ER\r\n", 37);
    assert_int_equal(record->bad, 3);
    assert_int_equal(record_counted(record, REASON_NOT_OURS), 1);
    assert_int_equal(record_counted(record, REASON_BAD_TAG_BLOCK), 2);
}

/* --- streams ---------------------------------------------------------------------------------- */

/* A bit of everything: whole, cut, noise, TAG blocks, joined lines, bytes of all values. */
static const char medley[] =
    "$IIMTW,17.9,C*1C\r\n"
    "\\s:ER0001,c:1718461353*23\\$ERRPM,E,1,2418.5,10.5,A*4F\r\n"
    "$ERRPM,E,1,24$IIMTW,17.9,C*1C\r\n"
    "$IIMTW,17.9,C*1C$ERRPM,E,1,2418.5,10.5,A*4F\r"
    "\xf8\x80\x01\xfe\x78\x86\xe6\x9c$IIMTW,17.9,C*1C\n\r"
    "$ERRPM,E,1,24\\s:ER0001*5F\\$IIMTW,17.9,C*1C\r\n"
    "!AIVDM,1,1,,A,13u?etPv2;0n:dDPwUM1U1Cb069D,0*24\r\n"
    "\\s:ER00\\01*5F$IIMTW,17.9,C*1C\r\n"
    "\\s:ER0001*5F\\\r\n"
    "no start*00\r\n$IIMTW,17.9,C\r\n$IIMTW,17.9,C*1\r\n"
    "$GNRMC,142233.25,A,3342.1234,S,15112.4567,E,18.75,271.3,150624,,,D,S*29\r\n"
    "$IIXDR,C,,C,AIRTEMP,A,-1.0,D,HEEL,A,2.9,D,TRIM,P,,B,BARO,A,-3.9,D,RUDDER*29\r\n"
    "$$$!!\\\\\\$IIMTW,17.9,C*1C";

static void every_split_is_the_same(void **state)
{
    (void)state;
    const uint8_t *bytes = (const uint8_t *)medley;
    const size_t size = sizeof medley - 1;
    static struct record whole;
    whole = *fresh();
    record_stream(&whole, medley, size);
    assert_int_equal(whole.ready, 12);
    for (size_t first = 0; first <= size; first++) {
        struct record *record = fresh();
        struct framer_0183 framer;
        framer_0183_reset(&framer);
        record_bytes(record, &framer, bytes, first);
        record_bytes(record, &framer, bytes + first, size - first);
        record_end(record, &framer);
        record->last.text = whole.last.text;
        assert_memory_equal(record, &whole, sizeof whole);
    }
    for (size_t step = 1; step < 100; step++) {
        struct record *record = fresh();
        struct framer_0183 framer;
        framer_0183_reset(&framer);
        for (size_t i = 0; i < size; i += step)
            record_bytes(record, &framer, bytes + i, size - i < step ? size - i : step);
        record_end(record, &framer);
        record->last.text = whole.last.text;
        assert_memory_equal(record, &whole, sizeof whole);
    }
}

/* Every byte but CR and LF comes back in the raw pieces, in its order. */
static void assert_nothing_lost(const struct record *record, const uint8_t *bytes, size_t count)
{
    uint64_t hash = UINT64_C(14695981039346656037);
    size_t kept = 0;
    for (size_t i = 0; i < count; i++) {
        if (bytes[i] == '\r' || bytes[i] == '\n')
            continue;
        hash = record_hash(hash, &bytes[i], 1);
        kept++;
    }
    assert_int_equal(record->raw_length, kept);
    assert_true(record->raw_hash == hash);
}

static void raw_pieces_hold_everything(void **state)
{
    (void)state;
    char line[6002];
    struct record *record = fresh();
    record_stream(record, medley, sizeof medley - 1);
    assert_nothing_lost(record, (const uint8_t *)medley, sizeof medley - 1);
    make_long(line, 5000);
    record = fresh();
    record_stream(record, line, 5000);
    assert_nothing_lost(record, (const uint8_t *)line, 5000);
}

static void reset_forgets(void **state)
{
    (void)state;
    struct record *record = fresh();
    struct framer_0183 framer;
    framer_0183_reset(&framer);
    record_bytes(record, &framer, (const uint8_t *)"$IIMTW,1", 8);
    framer_0183_reset(&framer);
    record_bytes(record, &framer, (const uint8_t *)"7.9,C*1C\r\n", 10);
    assert_int_equal(record->ready, 0);
    assert_int_equal(record_counted(record, REASON_NOISE_BYTES), 8);
}

/* --- damage ----------------------------------------------------------------------------------- */

static const char *const whole_lines[] = {
    "$ERRPM,E,1,2418.5,10.5,A*4F",
    "$IIXDR,C,,C,AIRTEMP,A,-1.0,D,HEEL,A,2.9,D,TRIM,P,,B,BARO,A,-3.9,D,RUDDER*29",
    "$ERXDR,T,2400,R,ENGINE#0,T,2390.5,R,ENGINE#1*4D",
    "$GNRMC,142233.25,A,3342.1234,S,15112.4567,E,18.75,271.3,150624,,,D,S*29",
    "$GPGGA,123519.00,4807.0380,N,01131.0000,E,1,08,0.9,545.4,M,46.9,M,,*69",
    "$GPZDA,160012.00,29,02,2024,,*6F",
    "$SDDBT,7.8,f,2.4,M,1.3,F*0D",
    "$VWVLW,10245.8,N,12.5,N,10300.1,N,13.0,N*41",
    "\\s:ER0001,c:1718461353*23\\$ERRPM,E,1,2418.5,10.5,A*4F",
    "\\c:1764057600123,s:ER0001*1A\\\\s:A*08\\$IIXDR,C,88.4,C,ENGINE#0*49",
};
#define WHOLE_LINES (sizeof whole_lines / sizeof whole_lines[0])

static bool is_among(const struct recorded *reading, const struct record *record)
{
    for (size_t i = 0; i < record->count; i++) {
        const struct recorded *other = &record->list[i];
        if (other->channel == reading->channel && other->value == reading->value &&
            other->origin.place == reading->origin.place &&
            other->origin.instance == reading->origin.instance &&
            strcmp(other->origin.label, reading->origin.label) == 0 &&
            strcmp(other->origin.message, reading->origin.message) == 0)
            return true;
    }
    return false;
}

/* What a damaged line gave must be what the whole one gives, or nothing; and the next line is
 * read. */
static void assert_no_lie(const struct record *damaged, const struct record *whole,
                          const char *line, const char *damage, size_t place)
{
    assert_true(damaged->count > 0);
    const struct recorded *last = &damaged->list[damaged->count - 1];
    if (last->channel != CHANNEL_SEA_TEMPERATURE || last->value != 17.9)
        fail_msg("%s: %s %zu costs the next line", line, damage, place);
    for (size_t i = 0; i + 1 < damaged->count; i++)
        if (!is_among(&damaged->list[i], whole))
            fail_msg("%s: %s %zu gives a wrong number: %s %g", line, damage, place,
                     channel_get(damaged->list[i].channel)->key, damaged->list[i].value);
    for (size_t i = 0; i < damaged->utc_count; i++)
        if (whole->utc_count == 0 || damaged->utc[i] != whole->utc[0])
            fail_msg("%s: %s %zu gives a wrong time", line, damage, place);
}

/* `size` bytes of a damaged line, then a good one. */
static void check_damaged(const char *bytes, size_t size, const struct record *whole,
                          const char *line, const char *damage, size_t place)
{
    char stream[1024];
    memcpy(stream, bytes, size);
    memcpy(stream + size, good, sizeof good);
    memcpy(stream + size + sizeof good - 1, "\r\n", 2);
    struct record *record = fresh();
    record_stream(record, stream, size + sizeof good + 1);
    assert_no_lie(record, whole, line, damage, place);
}

static size_t with_end(const char *line, char *out, struct record *whole)
{
    size_t length = strlen(line);
    memcpy(out, line, length);
    memcpy(out + length, "\r\n", 2);
    record_clear(whole);
    record_line(whole, line, length);
    assert_int_equal(whole->ready, 1);
    return length + 2;
}

static void a_flipped_bit_never_lies(void **state)
{
    (void)state;
    static struct record whole;
    char bytes[512];
    for (size_t n = 0; n < WHOLE_LINES; n++) {
        size_t size = with_end(whole_lines[n], bytes, &whole);
        for (size_t bit = 0; bit < size * 8; bit++) {
            bytes[bit / 8] = (char)(bytes[bit / 8] ^ 1 << bit % 8);
            check_damaged(bytes, size, &whole, whole_lines[n], "flipped bit", bit);
            bytes[bit / 8] = (char)(bytes[bit / 8] ^ 1 << bit % 8);
        }
    }
}

static void a_cut_line_never_lies(void **state)
{
    (void)state;
    static struct record whole;
    char bytes[512];
    for (size_t n = 0; n < WHOLE_LINES; n++) {
        size_t size = with_end(whole_lines[n], bytes, &whole);
        for (size_t cut = 0; cut <= size; cut++) {
            check_damaged(bytes, cut, &whole, whole_lines[n], "cut behind byte", cut);
            check_damaged(bytes + cut, size - cut, &whole, whole_lines[n], "cut before byte", cut);
        }
    }
}

static void a_lost_byte_never_lies(void **state)
{
    (void)state;
    static struct record whole;
    char bytes[512], short_of[512];
    for (size_t n = 0; n < WHOLE_LINES; n++) {
        size_t size = with_end(whole_lines[n], bytes, &whole);
        for (size_t lost = 0; lost < size; lost++) {
            memcpy(short_of, bytes, lost);
            memcpy(short_of + lost, bytes + lost + 1, size - lost - 1);
            check_damaged(short_of, size - 1, &whole, whole_lines[n], "lost byte", lost);
        }
    }
}

/* --- random streams --------------------------------------------------------------------------- */

/* Bytes, marks, pieces of sound lines. */
static size_t make_random(uint64_t *seed, uint8_t *bytes, size_t size)
{
    static const char marks[] = "$!\\*,\r\n\r\n$";
    size_t n = 0;
    while (n < size) {
        const char *line = whole_lines[record_below(seed, WHOLE_LINES)];
        size_t length = strlen(line), from = record_below(seed, 3) ? 0 : record_below(seed, length);
        switch (record_below(seed, 6)) {
        case 0:
            for (size_t i = record_below(seed, 40); i > 0 && n < size; i--)
                bytes[n++] = (uint8_t)record_random(seed);
            break;
        case 1:
            bytes[n++] = (uint8_t)marks[record_below(seed, sizeof marks - 1)];
            break;
        default:
            for (size_t i = from; i < length && n < size; i++)
                bytes[n++] = (uint8_t)line[i];
        }
    }
    return n;
}

/* The same bytes in reads of random sizes. */
static void read_in_pieces(struct record *record, uint64_t *seed, const uint8_t *bytes, size_t size)
{
    struct framer_0183 framer;
    framer_0183_reset(&framer);
    for (size_t i = 0, step; i < size; i += step) {
        step = 1 + record_below(seed, 200);
        step = step < size - i ? step : size - i;
        record_bytes(record, &framer, bytes + i, step);
    }
    record_end(record, &framer);
}

static void random_streams(void **state)
{
    (void)state;
    static uint8_t bytes[4096 + 64];
    static struct record whole;
    uint64_t seed = record_seed();
    for (int round = 0; round < 400; round++) {
        size_t size = make_random(&seed, bytes, 4096);
        memcpy(bytes + size, "\r\n$IIMTW,17.9,C*1C\r\n", 20);
        size += 20;
        whole = *fresh();
        record_stream(&whole, bytes, size);
        assert_nothing_lost(&whole, bytes, size);
        assert_int_equal(whole.unsound, 0);
        assert_text(&whole, "IIMTW,17.9,C");
        struct record *record = fresh();
        read_in_pieces(record, &seed, bytes, size);
        record->last.text = whole.last.text;
        assert_memory_equal(record, &whole, sizeof whole);
    }
}

/* Noise of any kind and no line end before a sentence does not cost it. */
static void noise_never_costs_a_sentence(void **state)
{
    (void)state;
    uint8_t bytes[1200];
    uint64_t seed = record_seed();
    for (int round = 0; round < 4000; round++) {
        size_t size = record_below(&seed, 1100);
        for (size_t i = 0; i < size; i++)
            bytes[i] = (uint8_t)record_random(&seed);
        if (size > 0 &&
            bytes[size - 1] == '\\') /* noise that closes a TAG block may cost one line */
            bytes[size - 1] = 'x';
        memcpy(bytes + size, good, sizeof good - 1);
        struct record *record = fresh();
        record_stream(record, bytes, size + sizeof good - 1);
        assert_text(record, "IIMTW,17.9,C");
        assert_int_equal(record->unsound, 0);
    }
}

/* --- datagrams -------------------------------------------------------------------------------- */

static void datagrams(void **state)
{
    (void)state;
    static const struct {
        const char *bytes;
        size_t count;
        enum datagram_0183 kind;
        size_t lines;
    } rows[] = {
        {"UdPbC\0\\s:ER0001*5F\\$ERRPM", 26, DATAGRAM_TAGGED, 6},
        {"UdPbC", 5, DATAGRAM_PLAIN, 0},
        {"UdPbC\\s:ER", 10, DATAGRAM_PLAIN, 0}, /* no NUL: its lines are judged as they are */
        {"UdPbX\0$IIMTW", 12, DATAGRAM_FOREIGN, 0},
        {"RaUdP\0xxxxxx", 12, DATAGRAM_FOREIGN, 0},
        {"RrUdP\0\2\0\0\0", 10, DATAGRAM_FOREIGN, 0},
        {"$IIMTW,17.9,C*1C\r\n", 18, DATAGRAM_PLAIN, 0},
        {"", 0, DATAGRAM_PLAIN, 0},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        size_t lines = 99;
        assert_int_equal(datagram_0183_kind((const uint8_t *)rows[i].bytes, rows[i].count, &lines),
                         rows[i].kind);
        assert_int_equal(lines, rows[i].lines);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lines),
        cmocka_unit_test(empty_line_is_nothing),
        cmocka_unit_test(start_character_is_told),
        cmocka_unit_test(length_is_bounded),
        cmocka_unit_test(tags),
        cmocka_unit_test(tag_block_alone),
        cmocka_unit_test(every_split_is_the_same),
        cmocka_unit_test(raw_pieces_hold_everything),
        cmocka_unit_test(reset_forgets),
        cmocka_unit_test(a_flipped_bit_never_lies),
        cmocka_unit_test(a_cut_line_never_lies),
        cmocka_unit_test(a_lost_byte_never_lies),
        cmocka_unit_test(random_streams),
        cmocka_unit_test(noise_never_costs_a_sentence),
        cmocka_unit_test(datagrams),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
