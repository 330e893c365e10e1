/* intake_bench.h - an intake with three inputs and everything around it, for tests; it writes to
 * the tape of tape_store.h. Inputs 0 and 1 are sentences, input 2 is a J1939 bus. */
#ifndef INTAKE_BENCH_H
#define INTAKE_BENCH_H

#include "../../logger/intake.h"
#include "tape_store.h"

/* Everything around an intake. */
struct bench {
    struct facts facts;
    struct run_input inputs[3];
    struct transducer_map map;
    struct dates dates;
    struct watch *watch;
    struct writer *writer;
    struct intake intake;
};

static struct bench bench;
static const struct voice nobody = {.fd = -1, .least = SAY_ERROR};

__attribute__((unused)) static void begin(size_t ring_size)
{
    tape_clear();
    bench = (struct bench){0};
    for (int i = 0; i < 3; i++) {
        snprintf(bench.inputs[i].label, sizeof bench.inputs[i].label, "%c", 'a' + i);
        strcpy(bench.inputs[i].text, i == 2 ? "can:can0,j1939,engine=1" : "udp:10110");
    }
    bench.map = (struct transducer_map){transducer_default_count, transducer_defaults, 0};
    assert_int_equal(watch_new(&nobody, &bench.facts, bench.inputs, false, &bench.watch),
                     STATUS_OK);
    bench.writer = tape_writer(ring_size, 3);
    intake_init(&bench.intake, bench.writer, &bench.map, bench.watch, &bench.dates, bench.inputs,
                3);
}

__attribute__((unused)) static void finish(int64_t at)
{
    intake_finish(&bench.intake, at);
    const struct run_end end = {.end = at, .clean = true, .tallies = bench.intake.tallies};
    assert_int_equal(writer_finish(bench.writer, &end, NULL), STATUS_OK);
    intake_free(&bench.intake);
    watch_free(bench.watch);
}

__attribute__((unused)) static uint64_t counted(unsigned input, enum reason reason)
{
    return bench.intake.tallies[input].line[reason].count;
}

#endif
