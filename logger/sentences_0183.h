/* sentences_0183.h - the sentences that searun decodes: one row each, odd cases are columns. */
#ifndef SEARUN_SENTENCES_0183_H
#define SEARUN_SENTENCES_0183_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "reading.h"

/* A letter behind (or beside) a number and what it makes of it: stored = sent * scale + offset.
 * Lists end with a scale of 0. */
struct unit_letter {
    char letter;
    double scale, offset;
};

enum field_form {
    FORM_NUMBER,    /* decimal number, sign allowed */
    FORM_MAGNITUDE, /* decimal number without a sign: the letter (E, W) carries it */
    FORM_POSITION   /* ddmm.mmm; the letter (N, S, E, W) carries the sign */
};

/* One quantity of a sentence. Fields are numbered from 1 behind the address. */
struct field_row {
    enum channel_id channel;
    enum field_form form;
    uint8_t at;                      /* number of the field with the value */
    uint8_t letter_at;               /* number of the field with the letter; 0 = none is sent */
    const struct unit_letter *units; /* letters allowed; the first one applies if none is sent */
    char choice;                     /* only if the sentence's `select` field is this letter */
    bool otherwise;                  /* another form of the row above: used if that gave no value */
    bool optional;                   /* later versions only: no fault if the sentence ends before */
    bool always;                     /* stored even if the sender marks the sentence as invalid */
};

struct sentence_row {
    char formatter[4];
    const char *title;
    enum place place;
    size_t count;
    const struct field_row *fields;
    /* Columns below: number of a field, 0 = there is none. */
    uint8_t status; /* must be there and hold one of `status_good` */
    const char *status_good;
    uint8_t mode; /* may be absent (older versions), must not hold one of `mode_bad` */
    const char *mode_bad;
    uint8_t select; /* a letter that says what the numbers are, one of `choices` */
    const char *choices;
    uint8_t instance;        /* number of the engine or shaft */
    uint8_t time, date, day; /* hhmmss.ss; ddmmyy; or the first of day, month, year */
    bool groups;             /* XDR: groups of type, value, unit, name */
};

/* The row of a formatter ("RPM", three characters, not terminated), or NULL. */
const struct sentence_row *sentence_row_find(const char *formatter);

extern const struct sentence_row sentence_rows[];
extern const size_t sentence_row_count;

#endif
