/* bench_0183.c - sentences a second through framing and decoding on one core, by kind and for a mix
 * as a boat sends it, and the ratio to a plain read() of the same file. Figures only, no pass or
 * fail.
 *
 * A reference: a small C parser for GNSS sentences takes 3.3 million RMC, GGA and VTG lines a
 * second (check and convert) on one core of this kind of machine. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "../../logger/decode.h"
#include "../../logger/frame_0183.h"

#define LINES 400000
#define CHUNK 65536
#define ROUNDS 5

/* Bodies of sentences; "%" is a digit that changes from line to line. */
struct kind {
    const char *title;
    const char *body[12];
};

#define RPM "ERRPM,E,0,24%%.%,,A"
#define XDR1 "ERXDR,C,8%.%,C,ENGINE#0"
#define XDR4                                                                                       \
    "ERXDR,C,8%.%,C,ENGINE#0,P,3.%%,B,ENGINEOIL#0,C,10%.%,C,ENGINEOIL#0,U,13.%%,V,ALTERNATOR#0"
#define MTW "IIMTW,17.%,C"
#define RMC "GPRMC,12351%.00,A,4807.%%%%,N,01131.%%%%,E,022.%,084.%,150626,003.1,W,A"
#define VTG "GPVTG,22%.8%,T,21%.%,M,2.5%0,N,4.7%4,K,A"
#define GGA "GPGGA,12351%.00,4807.%%%%,N,01131.%%%%,E,1,08,0.9,54%.4,M,46.9,M,,"
#define ZDA "GPZDA,12351%.00,15,06,2026,00,00"

static const struct kind kinds[] = {
    {"RPM", {RPM}},
    {"XDR, one transducer", {XDR1}},
    {"XDR, four transducers", {XDR4}},
    {"XDR, four not in the map",
     {"ERXDR,C,8%.%,C,KEEL1,C,7%.%,C,KEEL2,C,6%.%,C,KEEL3,P,1.%,B,PUMP"}},
    {"MTW", {MTW}},
    {"RMC", {RMC}},
    {"VTG", {VTG}},
    {"GGA", {GGA}},
    {"ZDA", {ZDA}},
    {"VHW", {"VWVHW,24%.1,T,24%.5,M,12.%,N,22.%,K"}},
    {"DBT", {"SDDBT,7.%,f,2.%,M,1.%,F"}},
    {"DPT", {"INDPT,2.%,-0.5,100.0"}},
    {"HDG", {"HCHDG,9%.3,0.0,E,12.6,W"}},
    {"HDT", {"HEHDT,27%.07,T"}},
    {"VLW", {"VWVLW,1024%.8,N,12.%,N,10300.1,N,13.0,N"}},
    {"not ours (AIS)", {"!AIVDM,1,1,,A,13u?etPv2;0n:dDPwUM1U1Cb06%D,0"}},
    {"RMC, GGA and VTG", {RMC, GGA, VTG}},
    {"mix of a boat", {RPM, XDR1, RPM, XDR4, MTW, RMC, RPM, GGA, VTG, ZDA, "SDDPT,12.%,0.5,"}},
};

/* --- the file --------------------------------------------------------------------------------- */

static size_t put_line(char *to, const char *body, unsigned *seed)
{
    char *p = to;
    unsigned sum = 0;
    *p++ = *body == '!' ? *body++ : '$';
    for (; *body != '\0'; body++) {
        *seed = *seed * 1103515245U + 12345U;
        *p = *body == '%' ? (char)('0' + (*seed >> 16) % 10) : *body;
        sum ^= (unsigned char)*p++;
    }
    return (size_t)(p - to) + (size_t)sprintf(p, "*%02X\r\n", sum);
}

static size_t make_file(const struct kind *kind, int fd)
{
    char *text = malloc(LINES * 128);
    size_t size = 0, next = 0;
    unsigned seed = 1;
    if (!text)
        return 0;
    for (size_t i = 0; i < LINES; i++) {
        size += put_line(text + size, kind->body[next++], &seed);
        if (next == sizeof kind->body / sizeof kind->body[0] || !kind->body[next])
            next = 0;
    }
    if (write(fd, text, size) != (ssize_t)size)
        size = 0;
    free(text);
    return size;
}

/* --- what is measured ------------------------------------------------------------------------- */

struct sum {
    size_t readings;
    double total; /* so that nothing is optimised away */
};

static void take_readings(void *self, int64_t at, const struct origin *origin,
                          const struct value *values, size_t count)
{
    struct sum *sum = self;
    (void)at, (void)origin;
    sum->readings += count;
    for (size_t i = 0; i < count; i++)
        sum->total += values[i].value;
}

static void take_event(void *self, int64_t at, const struct origin *origin, const char *key,
                       const char *text)
{
    (void)self, (void)at, (void)origin, (void)key, (void)text;
}

static void take_utc(void *self, int64_t at, const struct origin *origin, int64_t unix_us)
{
    struct sum *sum = self;
    (void)at, (void)origin;
    sum->total += (double)unix_us;
}

static double now(void)
{
    struct timespec ts;
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &ts);
    return (double)ts.tv_sec + (double)ts.tv_nsec / 1e9;
}

static size_t decode_chunk(struct framer_0183 *framer, const uint8_t *bytes, size_t count,
                           const struct sink *sink, struct tally *tally)
{
    static const struct transducer_map map = {0};
    struct sentence sentence;
    size_t used, sentences = 0;
    for (size_t n = 0; n < count; n += used) {
        if (framer_0183_push(framer, 0, bytes + n, count - n, &used, &sentence, NULL, NULL,
                             tally) != FRAME_READY)
            continue;
        decode_sentence(&map, 0, 0, &sentence, sink, tally);
        sentences++;
    }
    return sentences;
}

/* Seconds of CPU for one pass over the file; decodes if `sum` is given. */
static double pass(int fd, struct sum *sum, size_t *sentences)
{
    static uint8_t chunk[CHUNK];
    struct framer_0183 framer;
    struct tally tally = {0};
    const struct sink sink = {sum, take_readings, take_event, take_utc};
    ssize_t got;
    framer_0183_reset(&framer);
    *sentences = 0;
    double begin = now();
    lseek(fd, 0, SEEK_SET);
    while ((got = read(fd, chunk, sizeof chunk)) > 0)
        if (sum)
            *sentences += decode_chunk(&framer, chunk, (size_t)got, &sink, &tally);
    return now() - begin;
}

static double best(int fd, struct sum *sum, size_t *sentences)
{
    double least = 1e9;
    for (int i = 0; i < ROUNDS; i++) {
        double seconds = pass(fd, sum, sentences);
        least = seconds < least ? seconds : least;
    }
    return least;
}

static void run(const struct kind *kind)
{
    char path[] = "/tmp/bench-0183-XXXXXX";
    int fd = mkstemp(path);
    if (fd < 0)
        return;
    unlink(path);
    size_t size = make_file(kind, fd), none, sentences;
    struct sum sum = {0, 0};
    double reading = best(fd, NULL, &none), all = best(fd, &sum, &sentences);
    printf("%-26s %6.2f million/s  %5.0f ns each  %4.0f MB/s  %5.1f x read()%s\n", kind->title,
           (double)sentences / all / 1e6, all / (double)sentences * 1e9, (double)size / all / 1e6,
           all / reading, sentences == LINES ? "" : "  (some were refused)");
    close(fd);
}

int main(void)
{
    printf("NMEA 0183, framing and decoding, %d sentences a kind, best of %d (CPU time)\n", LINES,
           ROUNDS);
    for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++)
        run(&kinds[i]);
    return 0;
}
