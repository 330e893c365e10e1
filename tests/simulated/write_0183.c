/* write_0183.c - see writers.h. Sentence layouts: the field lists of NMEA 0183 as public
 * descriptions give them (gpsd project, "NMEA Revealed"). */
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <time.h>

#include "unit.h"
#include "writers.h"

#define KNOTS(speed) ((speed) / METRE_PER_SECOND_PER_KNOT)
#define KM_PER_HOUR(speed) ((speed)*3.6)

struct line_writer {
    FILE *to;
    bool tag;
    int64_t unix_s;
};

static unsigned checksum(const char *text)
{
    unsigned sum = 0;
    for (; *text != '\0'; text++)
        sum ^= (unsigned char)*text;
    return sum;
}

/* One sentence: "$", the text, its checksum, CR LF. */
__attribute__((format(printf, 2, 3))) static void say(const struct line_writer *writer,
                                                      const char *format, ...)
{
    char text[160], tag[64];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    if (writer->tag) {
        snprintf(tag, sizeof tag, "s:II0001,c:%lld", (long long)writer->unix_s);
        fprintf(writer->to, "\\%s*%02X\\", tag, checksum(tag));
    }
    fprintf(writer->to, "$%s*%02X\r\n", text, checksum(text));
}

/* "4955.8000,N": degrees and minutes in ten thousandths, rounded before they are split. */
static void format_angle(double degrees, int digits, const char *letters, char out[40])
{
    const unsigned whole = (unsigned)lround(fabs(degrees) * 60.0 * 10000.0);
    snprintf(out, 40, "%0*u%02u.%04u,%c", digits, whole / 600000, whole / 10000 % 60, whole % 10000,
             degrees < 0.0 ? letters[1] : letters[0]);
}

static void format_position(const struct boat_reading *reading, char out[96])
{
    char latitude[40], longitude[40];
    format_angle(reading->latitude, 2, "NS", latitude);
    format_angle(reading->longitude, 3, "EW", longitude);
    snprintf(out, 96, "%s,%s", latitude, longitude);
}

/* A value that rounds up to 360 is 0. */
static double bearing(double degrees)
{
    return degrees >= 359.95 ? 0.0 : degrees;
}

static void say_position(const struct line_writer *writer, const struct boat_reading *reading,
                         const struct tm *utc)
{
    char clock[16], position[96];
    strftime(clock, sizeof clock, "%H%M%S.00", utc);
    format_position(reading, position);
    say(writer, "GPRMC,%s,A,%s,%.1f,%.1f,%02d%02d%02d,,,A", clock, position,
        KNOTS(reading->over_ground), bearing(reading->course), utc->tm_mday, utc->tm_mon + 1,
        utc->tm_year % 100);
    say(writer, "GPGGA,%s,%s,1,09,0.9,4.2,M,52.1,M,,", clock, position);
    say(writer, "GPVTG,%.1f,T,,M,%.1f,N,%.1f,K,A", bearing(reading->course),
        KNOTS(reading->over_ground), KM_PER_HOUR(reading->over_ground));
    if (utc->tm_sec % 10 == 0)
        say(writer, "GPZDA,%s,%02d,%02d,%04d,00,00", clock, utc->tm_mday, utc->tm_mon + 1,
            utc->tm_year + 1900);
}

static void say_water(const struct line_writer *writer, const struct boat_reading *reading,
                      const struct tm *utc)
{
    say(writer, "IIVHW,%.1f,T,,M,%.2f,N,%.2f,K", bearing(reading->heading), KNOTS(reading->speed),
        KM_PER_HOUR(reading->speed));
    say(writer, "SDDBT,%.1f,f,%.2f,M,%.1f,F", reading->depth / 0.3048, reading->depth,
        reading->depth / 1.8288);
    if (utc->tm_sec % 2 == 0 && !isnan(reading->sea))
        say(writer, "YXMTW,%.2f,C", reading->sea);
    if (utc->tm_sec % 5 == 0)
        say(writer, "IIXDR,C,%.1f,C,AIRTEMP", reading->air);
}

static void say_engine(const struct line_writer *writer, size_t i,
                       const struct boat_engine_reading *reading)
{
    say(writer, "IIRPM,E,%zu,%.1f,,A", i, reading->rpm);
    if (isnan(reading->coolant))
        say(writer, "IIXDR,C,,C,ENGINE#%zu", i);
    else
        say(writer, "IIXDR,C,%.2f,C,ENGINE#%zu", reading->coolant, i);
    say(writer, "IIXDR,C,%.1f,C,ENGINEOIL#%zu,P,%.3f,B,ENGINEOIL#%zu", reading->oil_temperature, i,
        reading->oil_pressure / 100.0, i);
    if (!isnan(reading->raw_out))
        say(writer, "IIXDR,C,%.2f,C,RAWWATEROUT#%zu", reading->raw_out, i);
}

static void say_second(const struct line_writer *writer, const struct boat *boat)
{
    const time_t now = (time_t)writer->unix_s;
    struct tm utc;
    gmtime_r(&now, &utc);
    say_position(writer, &boat->reading, &utc);
    say_water(writer, &boat->reading, &utc);
    for (size_t i = 0; i < boat->scenario->engine_count; i++)
        say_engine(writer, i, &boat->reading.engine[i]);
}

enum status write_0183(const struct boat_scenario *scenario, bool tag, FILE *to,
                       struct complaint *complaint)
{
    struct boat *boat = malloc(sizeof *boat);
    if (boat == NULL)
        return complain(complaint, STATUS_MEMORY, "no memory for the boat model");
    struct line_writer writer = {to, tag, scenario->start_unix};
    boat_start(boat, scenario);
    do {
        if (boat->truth.t < (double)(writer.unix_s - scenario->start_unix) - 1e-9)
            continue;
        say_second(&writer, boat);
        writer.unix_s++;
    } while (boat_advance(boat));
    free(boat);
    if (fflush(to) != 0 || ferror(to))
        return complain(complaint, STATUS_IO, "the capture could not be written");
    return STATUS_OK;
}
