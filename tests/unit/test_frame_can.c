/* test_frame_can.c - CAN identifiers, fast packets and the transport protocol, sound and in
 * trouble.
 *
 * Facts: identifiers and transport protocol from SAE J1939-21 as the J1939 database of the open
 * project canboat describes them; fast packets from the same project. What a receiver should make
 * of trouble was compared with a second open library (same messages, source and order for every
 * sequence below). Payloads are our own. */
#include "can_kit.h"

#include "../../logger/frame_can.h"

/* --- identifiers */

static void identifiers(void **state)
{
    (void)state;
    static const struct {
        uint32_t id, pgn;
        unsigned priority, source, destination;
    } cases[] = {
        {0x09F20123, 127489, 2, 0x23, 255}, /* PDU2, data page 1 */
        {0x0CF00400, 61444, 3, 0x00, 255},  /* PDU2, data page 0 */
        {0x18FEEE00, 65262, 6, 0x00, 255},
        {0x18EEFF23, 60928, 6, 0x23, 255},  /* PDU1 to everybody */
        {0x18EC2100, 60416, 6, 0x00, 0x21}, /* PDU1 to one */
        {0x1CEBFF05, 60160, 7, 0x05, 255},
        {0x1DEFFF36, 126720, 7, 0x36, 255}, /* PDU1, data page 1 */
        {0x00EF0102, 61184, 0, 0x02, 0x01},
        {0x18F0FFFE, 61695, 6, 0xFE, 255},   /* PDU format 240 is the first of PDU2 */
        {0x1FFFFFFF, 0x3FFFF, 7, 0xFF, 255}, /* reserved bit and data page set */
        {0x00000000, 0, 0, 0, 0},
        {0x98FEEE00, 65262, 6, 0x00, 255}, /* the flag bit is no part of it */
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct can_address address = can_address_split(cases[i].id);
        assert_int_equal(address.pgn, cases[i].pgn);
        assert_int_equal(address.priority, cases[i].priority);
        assert_int_equal(address.source, cases[i].source);
        assert_int_equal(address.destination, cases[i].destination);
    }
}

/* --- sequences of frames */

/* What comes out is written as "SOURCE:BYTES" with one space between. */
struct rig {
    struct assembly_pool pool;
    struct tally tally;
    int64_t at;
    char got[4096];
};

static struct rig *rig_new(enum reason timed_out)
{
    struct rig *rig = calloc(1, sizeof *rig);
    assert_non_null(rig);
    assembly_pool_reset(&rig->pool, timed_out);
    return rig;
}

static void rig_write(struct rig *rig, const struct can_message *message)
{
    size_t end = strlen(rig->got);
    end += (size_t)snprintf(rig->got + end, sizeof rig->got - end, "%s%X:", end ? " " : "",
                            message->address.source);
    for (size_t i = 0; i < message->length; i++)
        end += (size_t)snprintf(rig->got + end, sizeof rig->got - end, "%02X", message->data[i]);
}

static enum framing rig_push(struct rig *rig, uint32_t id, const uint8_t *data, unsigned length)
{
    struct can_message message = {0};
    struct can_address address = can_address_split(id);
    enum framing framing;
    if (address.pgn == 60416)
        framing = transport_control(&rig->pool, rig->at, address, data, length, &rig->tally);
    else if (address.pgn == 60160)
        framing = transport_data(&rig->pool, rig->at, address, data, length, &message, &rig->tally);
    else
        framing =
            fast_packet_push(&rig->pool, rig->at, address, data, length, &message, &rig->tally);
    if (framing == FRAME_READY)
        rig_write(rig, &message);
    rig->at += NS_PER_MS;
    return framing;
}

/* "A 001A00B9..." is a frame of the source A (hexadecimal) of the group; "+800" lets 800 ms
 * pass. */
static void rig_feed(struct rig *rig, uint32_t group, const char *frames)
{
    char text[4096], *rest = text, *word;
    snprintf(text, sizeof text, "%s", frames);
    uint32_t source = 0;
    while ((word = strtok_r(rest, " ", &rest)) != NULL) {
        uint8_t data[8];
        if (word[0] == '+')
            rig->at += strtol(word + 1, NULL, 10) * NS_PER_MS;
        else if (strlen(word) == 1)
            source = (uint32_t)strtoul(word, NULL, 16);
        else
            rig_push(rig, group | source, data,
                     (unsigned)kit_bytes(word, strlen(word) & ~1u, data, sizeof data));
    }
}

struct sequence {
    const char *what, *frames, *messages;
    enum reason reason[3]; /* counted, in any order; REASON_SENTENCES = no more */
    unsigned count[3];
};

static void check_counts(const struct rig *rig, const struct sequence *sequence)
{
    uint64_t expected = 0, all = 0;
    for (int i = 0; i < 3; i++) {
        if (sequence->count[i] == 0)
            continue;
        uint64_t counted = rig->tally.line[sequence->reason[i]].count;
        if (counted != sequence->count[i])
            fail_msg("%s: %s is %llu, not %u", sequence->what, reason_key(sequence->reason[i]),
                     (unsigned long long)counted, sequence->count[i]);
        expected += counted;
    }
    for (int i = 0; i < REASON_COUNT; i++)
        all += rig->tally.line[i].count;
    if (all != expected)
        fail_msg("%s: something else is counted, too", sequence->what);
}

static void check_sequence(const struct sequence *sequence, uint32_t group, enum reason timed_out)
{
    struct rig *rig = rig_new(timed_out);
    rig_feed(rig, group, sequence->frames);
    assembly_pool_expire(&rig->pool, INT64_MAX, &rig->tally);
    if (strcmp(rig->got, sequence->messages) != 0)
        fail_msg("%s:\n  came out: %s\n  expected: %s", sequence->what, rig->got,
                 sequence->messages);
    check_counts(rig, sequence);
    free(rig);
}

/* --- fast packets; the group is 127489 and lengths are short to be readable */

#define LOST REASON_FAST_PACKET_LOST
#define ORPHAN REASON_FAST_PACKET_ORPHAN
#define SILENT REASON_FAST_PACKET_TIMEOUT
#define LENGTH REASON_FAST_PACKET_LENGTH
#define AGAIN REASON_FRAME_REPEATED
#define CUT REASON_TRUNCATED

/* A message of 20 bytes: A0 .. B3, as frames with sequence counter 0. */
#define F0 "0014A0A1A2A3A4A5 "
#define F1 "01A6A7A8A9AAABAC "
#define F2 "02ADAEAFB0B1B2B3 "
#define WHOLE "A0A1A2A3A4A5A6A7A8A9AAABACADAEAFB0B1B2B3"
/* The same length, other bytes, sequence counter 1. */
#define G0 "2014C0C1C2C3C4C5 "
#define G1 "21C6C7C8C9CACBCC "
#define G2 "22CDCECFD0D1D2D3 "
#define OTHER "C0C1C2C3C4C5C6C7C8C9CACBCCCDCECFD0D1D2D3"

static const struct sequence fast_sequences[] = {
    {"in order", "1 " F0 F1 F2, "1:" WHOLE, {0}, {0}},
    {"two sources, the same counter",
     "1 " F0 "2 " F0 "1 " F1 "2 " F1 "2 " F2 "1 " F2,
     "2:" WHOLE " 1:" WHOLE,
     {0},
     {0}},
    {"two counters of one source", "1 " F0 G0 F1 G1 F2 G2, "1:" WHOLE " 1:" OTHER, {0}, {0}},
    {"counters need not follow each other",
     "1 " G0 G1 G2 F0 F1 F2,
     "1:" OTHER " 1:" WHOLE,
     {0},
     {0}},
    {"a counter that never moves", "1 " F0 F1 F2 F0 F1 F2, "1:" WHOLE " 1:" WHOLE, {0}, {0}},
    {"middle frame lost", "1 " F0 F2, "", {LOST}, {1}},
    {"last frame lost", "1 " F0 F1, "", {SILENT}, {1}},
    {"last frame lost, then a good one", "1 " F0 F1 G0 G1 G2, "1:" OTHER, {SILENT}, {1}},
    {"first frame lost", "1 " F1 F2, "", {ORPHAN}, {2}},
    {"restart with the same counter",
     "1 " F0 F1 "0014C0C1C2C3C4C5 01C6C7C8C9CACBCC 02CDCECFD0D1D2D3",
     "1:" OTHER,
     {LOST},
     {1}},
    {"restart, shorter, then the tail of the old one",
     "1 " F0 F1 "0008E0E1E2E3E4E5 01E6E7FFFFFFFFFF " F2,
     "1:E0E1E2E3E4E5E6E7",
     {LOST, ORPHAN},
     {1, 1}},
    {"swapped", "1 " F0 F2 F1, "", {LOST, ORPHAN}, {1, 1}},
    {"last first", "1 " F2 F0 F1, "", {ORPHAN, SILENT}, {1, 1}},
    {"first frame twice", "1 " F0 F0 F1 F2, "1:" WHOLE, {AGAIN}, {1}},
    {"first frame twice with other bytes",
     "1 " F0 "0014C0C1C2C3C4C5 01C6C7C8C9CACBCC 02CDCECFD0D1D2D3",
     "1:" OTHER,
     {LOST},
     {1}},
    {"middle frame twice, cut short", "1 " F0 F1 "01A6A7A8A9AAAB " F2, "", {LOST, ORPHAN}, {1, 1}},
    {"middle frame twice", "1 " F0 F1 F1 F2, "1:" WHOLE, {AGAIN}, {1}},
    {"every frame twice", "1 " F0 F0 F1 F1 F2 F2, "1:" WHOLE, {AGAIN, ORPHAN}, {2, 1}},
    {"the same number with other bytes",
     "1 " F0 F1 "01FFFFFFFFFFFFFF " F2,
     "",
     {LOST, ORPHAN},
     {1, 1}},
    {"counter changes within a message", "1 " F0 G1 G2, "", {ORPHAN, SILENT}, {2, 1}},
    {"the end of one and the beginning of another", "1 " F0 F1 G2, "", {ORPHAN, SILENT}, {1, 1}},
    {"6 bytes need one frame", "1 0006A0A1A2A3A4A5", "1:A0A1A2A3A4A5", {0}, {0}},
    {"1 byte", "1 0001A0FFFFFFFFFF", "1:A0", {0}, {0}},
    {"7 bytes need two", "1 0007A0A1A2A3A4A5 01A6FFFFFFFFFFFF", "1:A0A1A2A3A4A5A6", {0}, {0}},
    {"length 0", "1 0000FFFFFFFFFFFF", "", {LENGTH}, {1}},
    {"length 224", "1 00E0A0A1A2A3A4A5 01A6A7A8A9AAABAC", "", {LENGTH, ORPHAN}, {1, 1}},
    {"a first frame of one byte", "1 00", "", {LENGTH}, {1}},
    {"last frame not filled up", "1 " F0 F1 "02ADAEAFB0B1B2B3", "1:" WHOLE, {0}, {0}},
    {"last frame one byte short", "1 " F0 F1 "02ADAEAFB0B1B2", "", {CUT}, {1}},
    {"first frame short", "1 0014A0A1A2 " F1, "", {CUT, ORPHAN}, {1, 1}},
    {"a last frame with just what is wanted",
     "1 0008A0A1A2A3A4A5 01A6A7",
     "1:A0A1A2A3A4A5A6A7",
     {0},
     {0}},
    {"a pause within the time-out", "1 " F0 "+700 " F1 "+700 " F2, "1:" WHOLE, {0}, {0}},
    {"a pause beyond it", "1 " F0 F1 "+751 " F2, "", {SILENT, ORPHAN}, {1, 1}},
    {"a pause beyond it, then the next", "1 " F0 F1 "+800 " F0 F1 F2, "1:" WHOLE, {SILENT}, {1}},
    {"the clock goes back", "1 +5000 " F0 "+-4000 " F1 F2, "1:" WHOLE, {0}, {0}},
};

static void fast_packets(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof fast_sequences / sizeof *fast_sequences; i++)
        check_sequence(&fast_sequences[i], 0x09F20100, REASON_FAST_PACKET_TIMEOUT);
}

static void empty_frames(void **state)
{
    (void)state;
    struct rig *rig = rig_new(REASON_FAST_PACKET_TIMEOUT);
    assert_int_equal(rig_push(rig, 0x09F20101, (const uint8_t[]){0}, 0), FRAME_BAD);
    assert_int_equal(rig_push(rig, 0x1CEBFF01, (const uint8_t[]){0}, 0), FRAME_BAD);
    assert_int_equal(rig_push(rig, 0x1CECFF01, (const uint8_t[]){0x20, 9, 0, 2, 255, 0, 0}, 7),
                     FRAME_BAD);
    assert_int_equal(rig->tally.line[REASON_TRUNCATED].count, 3);
    free(rig);
}

/* 223 bytes fill 32 frames; the 32nd lost means no message. */
static void longest_fast_packet(void **state)
{
    (void)state;
    struct rig *rig = rig_new(REASON_FAST_PACKET_TIMEOUT);
    for (unsigned round = 0; round < 2; round++)
        for (unsigned index = 0; index < 32 - round; index++) {
            uint8_t data[8];
            for (unsigned i = 0; i < 8; i++)
                data[i] = (uint8_t)(index * 7 + i);
            data[0] = (uint8_t)(round << 5 | index);
            if (index == 0)
                data[1] = 223;
            enum framing framing = rig_push(rig, 0x09F20101, data, 8);
            assert_int_equal(framing, index == 31 ? FRAME_READY : FRAME_NEED_MORE);
        }
    assert_int_equal(strlen(rig->got), 2 + 2 * 223);
    assembly_pool_expire(&rig->pool, INT64_MAX, &rig->tally);
    assert_int_equal(rig->tally.line[REASON_FAST_PACKET_TIMEOUT].count, 1);
    free(rig);
}

/* --- transport protocol; broadcast of 20 bytes of group 65226 from source 0 to everybody */

#define T_LOST REASON_TRANSPORT_LOST
#define T_ORPHAN REASON_TRANSPORT_ORPHAN
#define T_SILENT REASON_TRANSPORT_TIMEOUT
#define T_LENGTH REASON_TRANSPORT_LENGTH
#define T_ABORTED REASON_TRANSPORT_ABORTED

/* Words of rig_feed have one group; here control and data come mixed, so whole identifiers are
 * given. */
static void feed_transport(struct rig *rig, const char *frames)
{
    char text[4096], *rest = text, *word;
    snprintf(text, sizeof text, "%s", frames);
    while ((word = strtok_r(rest, " ", &rest)) != NULL) {
        uint8_t data[8];
        const char *hash = strchr(word, '#');
        if (word[0] == '+')
            rig->at += strtol(word + 1, NULL, 10) * NS_PER_MS;
        else
            rig_push(rig, (uint32_t)strtoul(word, NULL, 16), data,
                     (unsigned)kit_bytes(hash + 1, strlen(hash + 1), data, sizeof data));
    }
}

#define BAM "1CECFF00#20140003FFCAFE00 "
#define D1 "1CEBFF00#01A0A1A2A3A4A5A6 "
#define D2 "1CEBFF00#02A7A8A9AAABACAD "
#define D3 "1CEBFF00#03AEAFB0B1B2B3FF "
#define BAM_9 "1CECFF01#20140003FFCAFE00 "
#define E1 "1CEBFF01#01A0A1A2A3A4A5A6 "
#define E2 "1CEBFF01#02A7A8A9AAABACAD "
#define E3 "1CEBFF01#03AEAFB0B1B2B3FF "
/* A connection from 0 to 21 (hexadecimal). */
#define RTS "1CEC2100#1014000303CAFE00 "
#define CTS_1 "1CEC0021#110301FFFFCAFE00 "
#define C1 "1CEB2100#01A0A1A2A3A4A5A6 "
#define C2 "1CEB2100#02A7A8A9AAABACAD "
#define C3 "1CEB2100#03AEAFB0B1B2B3FF "
#define ACK "1CEC0021#13140003FFCAFE00 "

static const struct sequence transport_sequences[] = {
    {"broadcast", BAM D1 D2 D3, "0:" WHOLE, {0}, {0}},
    {"two sources", BAM BAM_9 D1 E1 E2 D2 D3 E3, "0:" WHOLE " 1:" WHOLE, {0}, {0}},
    {"broadcast and connection of one source",
     BAM RTS D1 CTS_1 C1 D2 C2 D3 C3 ACK,
     "0:" WHOLE " 0:" WHOLE,
     {0},
     {0}},
    {"first packet lost", BAM D2 D3, "", {T_LOST, T_ORPHAN}, {1, 1}},
    {"middle packet lost", BAM D1 D3, "", {T_LOST}, {1}},
    {"last packet lost", BAM D1 D2, "", {T_SILENT}, {1}},
    {"lost, then good", BAM D1 D2 BAM D1 D2 D3, "0:" WHOLE, {T_LOST}, {1}},
    {"swapped", BAM D1 D3 D2, "", {T_LOST, T_ORPHAN}, {1, 1}},
    {"packet twice", BAM D1 D2 D2 D3, "0:" WHOLE, {AGAIN}, {1}},
    {"packet twice with other bytes",
     BAM D1 "1CEBFF00#0100000000000000 " D2 D3,
     "",
     {T_LOST, T_ORPHAN},
     {1, 2}},
    {"announced twice", BAM BAM D1 D2 D3, "0:" WHOLE, {T_LOST}, {1}},
    {"without announcement", D1 D2 D3, "", {T_ORPHAN}, {3}},
    {"more packets than announced",
     BAM D1 D2 D3 "1CEBFF00#0400000000000000",
     "0:" WHOLE,
     {T_ORPHAN},
     {1}},
    {"packet number 0", BAM "1CEBFF00#0000000000000000", "", {T_LOST}, {1}},
    {"8 bytes need no transport",
     "1CECFF00#20080002FFCAFE00 " D1 D2,
     "",
     {T_LENGTH, T_ORPHAN},
     {1, 2}},
    {"9 bytes do",
     "1CECFF00#20090002FFCAFE00 " D1 "1CEBFF00#02A7A8FFFFFFFFFF",
     "0:A0A1A2A3A4A5A6A7A8",
     {0},
     {0}},
    {"15 bytes need three packets",
     "1CECFF00#200F0003FFCAFE00 " D1 D2 "1CEBFF00#03AEFFFFFFFFFFFF",
     "0:A0A1A2A3A4A5A6A7A8A9AAABACADAE",
     {0},
     {0}},
    {"and not two", "1CECFF00#200F0002FFCAFE00", "", {T_LENGTH}, {1}},
    {"1786 bytes", "1CECFF00#20FA06FFFFCAFE00", "", {T_LENGTH}, {1}},
    {"65535 bytes", "1CECFF00#20FFFFFFFFCAFE00", "", {T_LENGTH}, {1}},
    {"packets that do not fit the length",
     "1CECFF00#20140004FFCAFE00 " D1,
     "",
     {T_LENGTH, T_ORPHAN},
     {1, 1}},
    {"last packet short", BAM D1 D2 "1CEBFF00#03AEAFB0B1B2", "", {CUT}, {1}},
    {"last packet not filled up", BAM D1 D2 "1CEBFF00#03AEAFB0B1B2B3", "0:" WHOLE, {0}, {0}},
    {"a pause within the time-out", BAM "+700 " D1 "+700 " D2 "+700 " D3, "0:" WHOLE, {0}, {0}},
    {"a pause beyond it", BAM D1 "+760 " D2 D3, "", {T_SILENT, T_ORPHAN}, {1, 2}},
    {"a connection may take longer",
     RTS "+1200 " CTS_1 "+1200 " C1 C2 C3 ACK,
     "0:" WHOLE,
     {0},
     {0}},
    {"but not for ever", RTS CTS_1 C1 "+1300 " C2, "", {T_SILENT, T_ORPHAN}, {1, 1}},
    {"asked for packets again",
     RTS CTS_1 C1 C2 "1CEC0021#110202FFFFCAFE00 " C2 C3 ACK,
     "0:" WHOLE,
     {0},
     {0}},
    {"asked for the first again", RTS CTS_1 C1 C2 CTS_1 C1 C2 C3, "0:" WHOLE, {0}, {0}},
    {"asked to wait", RTS "1CEC0021#1100FFFFFFCAFE00 +1000 " CTS_1 C1 C2 C3, "0:" WHOLE, {0}, {0}},
    {"we missed one, the receiver did not",
     RTS CTS_1 C1 "1CEC0021#110103FFFFCAFE00 " C3,
     "",
     {T_LOST, T_ORPHAN},
     {1, 1}},
    {"acknowledged, but not to us", RTS CTS_1 C1 C2 ACK, "", {T_LOST}, {1}},
    {"the receiver breaks off",
     RTS CTS_1 C1 "1CEC0021#FF01FFFFFFCAFE00 " C2,
     "",
     {T_ABORTED, T_ORPHAN},
     {1, 1}},
    {"the sender breaks off",
     RTS CTS_1 C1 "1CEC2100#FF03FFFFFFCAFE00 " C2,
     "",
     {T_ABORTED, T_ORPHAN},
     {1, 1}},
    {"words about connections that nobody heard of",
     CTS_1 ACK "1CEC0021#FF01FFFFFFCAFE00",
     "",
     {0},
     {0}},
    {"a request to everybody", "1CECFF00#1014000303CAFE00 " D1, "", {T_LENGTH, T_ORPHAN}, {1, 1}},
    {"a control byte that is none", "1CECFF00#7714000303CAFE00", "", {REASON_RESERVED}, {1}},
};

static void transport(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof transport_sequences / sizeof *transport_sequences; i++) {
        const struct sequence *sequence = &transport_sequences[i];
        struct rig *rig = rig_new(REASON_TRANSPORT_TIMEOUT);
        feed_transport(rig, sequence->frames);
        assembly_pool_expire(&rig->pool, INT64_MAX, &rig->tally);
        if (strcmp(rig->got, sequence->messages) != 0)
            fail_msg("%s:\n  came out: %s\n  expected: %s", sequence->what, rig->got,
                     sequence->messages);
        check_counts(rig, sequence);
        free(rig);
    }
}

/* 1785 bytes in 255 packets, and the group that was announced. */
static void longest_transport(void **state)
{
    (void)state;
    struct rig *rig = rig_new(REASON_TRANSPORT_TIMEOUT);
    feed_transport(rig, "1CECFF00#20F906FFFFCAFE00");
    for (unsigned number = 1; number <= 255; number++) {
        struct can_message message = {0};
        uint8_t data[8] = {(uint8_t)number, 1, 2, 3, 4, 5, 6, (uint8_t)number};
        enum framing framing = transport_data(&rig->pool, rig->at, can_address_split(0x1CEBFF00),
                                              data, 8, &message, &rig->tally);
        assert_int_equal(framing, number == 255 ? FRAME_READY : FRAME_NEED_MORE);
        if (framing == FRAME_READY) {
            assert_int_equal(message.length, 1785);
            assert_int_equal(message.address.pgn, 65226);
            assert_int_equal(message.data[1784], 255);
            assert_int_equal(message.data[6], 1);
        }
    }
    free(rig);
}

/* --- memory */

/* 300 sources begin a message at once: the pool keeps the newest, the others are counted, nothing
 * grows. */
static void a_full_pool_gives_up_the_oldest(void **state)
{
    (void)state;
    struct rig *rig = rig_new(REASON_FAST_PACKET_TIMEOUT);
    static const uint8_t first[8] = {0x00, 8, 1, 2, 3, 4, 5, 6}, second[8] = {0x01, 7, 8};
    /* the highest source begins, so that the oldest is not the first in any order of looking */
    for (unsigned i = 0; i < 252; i++)
        rig_push(rig, 0x09F20100 | (251 - i), first, 8);
    assert_int_equal(rig->tally.line[REASON_ASSEMBLY_EVICTED].count, 252 - ASSEMBLIES);
    for (unsigned source = 0; source < 252; source++)
        rig_push(rig, 0x09F20100 | source, second, 8);
    assert_int_equal(rig->tally.line[REASON_FAST_PACKET_ORPHAN].count, 252 - ASSEMBLIES);
    assert_memory_equal(rig->got, "0:0102030405060708 ", 19);
    assert_string_equal(strrchr(rig->got, ' '), " 3F:0102030405060708");
    assembly_pool_expire(&rig->pool, INT64_MAX, &rig->tally);
    assert_int_equal(rig->tally.line[REASON_FAST_PACKET_TIMEOUT].count, 0);
    free(rig);
}

/* --- random frames */

static uint32_t next_random(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return *state >> 8;
}

/* Some sources send messages whose bytes tell who they are; frames get lost, doubled, swapped and
 * late. Whatever is delivered must be whole; and looking for silent messages more or less often
 * must not change what is delivered or counted. */
static void random_trouble(void **state)
{
    (void)state;
    uint32_t seed = (uint32_t)time(NULL);
    const char *given = getenv("SEARUN_SEED");
    if (given)
        seed = (uint32_t)strtoul(given, NULL, 10);
    printf("seed %u\n", seed);
    struct rig *rigs[2] = {rig_new(REASON_FAST_PACKET_TIMEOUT),
                           rig_new(REASON_FAST_PACKET_TIMEOUT)};
    struct {
        unsigned index, sequence, length;
    } sender[8] = {{0}};
    unsigned delivered = 0;
    for (unsigned step = 0; step < 200000; step++) {
        unsigned who = next_random(&seed) % 8, luck = next_random(&seed) % 100;
        if (sender[who].index * 7 + 6 >= sender[who].length + 7 || sender[who].length == 0) {
            sender[who].index = 0;
            sender[who].sequence = next_random(&seed) % 8;
            sender[who].length = 9 + next_random(&seed) % 60;
        }
        uint8_t data[8];
        memset(data, (int)(who << 4 | sender[who].sequence), sizeof data);
        data[0] = (uint8_t)(sender[who].sequence << 5 | sender[who].index);
        if (sender[who].index == 0)
            data[1] = (uint8_t)sender[who].length;
        sender[who].index += luck < 2 ? 2 : luck < 4 ? 0 : 1; /* lost, doubled */
        int64_t pause = (int64_t)(luck == 99 ? 900 : luck % 5) * NS_PER_MS;
        for (int r = 0; r < 2; r++) {
            rigs[r]->at += pause;
            rigs[r]->got[0] = '\0';
            if (r == 0 && step % 7 == 0)
                assembly_pool_expire(&rigs[r]->pool, rigs[r]->at, &rigs[r]->tally);
            rig_push(rigs[r], 0x09F20100 | who, data, 8);
        }
        assert_string_equal(rigs[0]->got, rigs[1]->got);
        if (rigs[0]->got[0] == '\0')
            continue;
        delivered++;
        const char *bytes = strchr(rigs[0]->got, ':') + 1;
        for (const char *p = bytes; *p; p += 2)
            assert_memory_equal(p, bytes, 2);
    }
    assert_in_range(delivered, 1000, 200000);
    for (int r = 0; r < 2; r++)
        assembly_pool_expire(&rigs[r]->pool, INT64_MAX, &rigs[r]->tally);
    for (int i = 0; i < REASON_COUNT; i++)
        assert_int_equal(rigs[0]->tally.line[i].count, rigs[1]->tally.line[i].count);
    free(rigs[0]);
    free(rigs[1]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(identifiers),
        cmocka_unit_test(fast_packets),
        cmocka_unit_test(empty_frames),
        cmocka_unit_test(longest_fast_packet),
        cmocka_unit_test(transport),
        cmocka_unit_test(longest_transport),
        cmocka_unit_test(a_full_pool_gives_up_the_oldest),
        cmocka_unit_test(random_trouble),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
