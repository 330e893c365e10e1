/* fuzz_outing.c - any bytes as what was kept of one run. Beyond crashes: every refusal has words,
 * texts end within their room, and what is taken is written and read again as the same text. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "../../analyze/outing.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void demand_sound(const struct outing *outing)
{
    demand(memchr(outing->sha256, '\0', sizeof outing->sha256) != NULL);
    demand(memchr(outing->run_id, '\0', sizeof outing->run_id) != NULL);
    for (size_t e = 0; e < outing->engine_count; e++) {
        const struct outing_engine *engine = &outing->engines[e];
        demand(memchr(engine->sea_source, '\0', sizeof engine->sea_source) != NULL);
    }
}

static void write_again(const struct outing *outing)
{
    struct text once = {0}, twice = {0};
    struct outing again;
    demand(outing_write_json(outing, &once, NULL) == STATUS_OK);
    demand(outing_read_json(text_string(&once), once.length, &again, NULL) == STATUS_OK);
    demand(outing_write_json(&again, &twice, NULL) == STATUS_OK);
    demand(strcmp(text_string(&once), text_string(&twice)) == 0);
    outing_free(&again);
    text_free(&once);
    text_free(&twice);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct outing outing;
    struct complaint complaint = {""};
    enum status status = outing_read_json((const char *)data, size, &outing, &complaint);
    demand((status == STATUS_OK) == (complaint.text[0] == '\0'));
    if (status == STATUS_OK) {
        demand_sound(&outing);
        write_again(&outing);
    }
    outing_free(&outing);
    return 0;
}
