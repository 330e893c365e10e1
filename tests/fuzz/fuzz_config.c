/* fuzz_config.c - any text as a configuration file, and its lines as settings of the command line.
 * Beyond crashes: what is taken is in bounds, and every refusal has words. */
#include <stdlib.h>
#include <string.h>

#include "../../logger/config.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void tell(void *self, const char *text)
{
    unsigned *told = self;
    demand(text[0] != '\0' && strlen(text) < 2000);
    (*told)++;
}

static void demand_sound(const struct config *config)
{
    const struct settings *it = &config->settings;
    demand(it->ring_size >= 1 && it->ring_size <= 1024);
    demand(it->reopen_longest >= 0.5 && it->reopen_longest <= 3600);
    demand(it->directory[0] != '\0' && memchr(it->directory, '\0', sizeof it->directory) != NULL);
    demand(config->input_count <= INPUTS_MAX);
    for (size_t i = 0; i < config->input_count; i++) {
        demand(strlen(config->inputs[i].label) >= 1);
        demand(strlen(config->inputs[i].label) <= LABEL_MAX);
        demand(strlen(config->inputs[i].text) < sizeof config->inputs[i].text);
    }
    for (size_t i = 0; i < config->transducer_count; i++)
        demand(transducer_row_check(&config->transducers[i], NULL) == STATUS_OK);
}

static void set_lines(struct config *config, const uint8_t *data, size_t size)
{
    char line[300];
    for (size_t at = 0; at < size; at++) {
        size_t length = 0;
        while (at < size && data[at] != '\n' && data[at] != '\0' && length < sizeof line - 1)
            line[length++] = (char)data[at++];
        line[length] = '\0';
        struct complaint complaint = {""};
        enum status status = config_set(config, line, &complaint);
        demand((status == STATUS_OK) == (complaint.text[0] == '\0'));
        complaint.text[0] = '\0';
        status = config_add_input(config, line, &complaint);
        demand((status == STATUS_OK) == (complaint.text[0] == '\0'));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct config config;
    struct transducer_map map;
    unsigned told = 0;
    struct problems problems = {tell, &told, 0};
    config_init(&config);
    enum status status = config_read_text(&config, "fuzz.ini", (const char *)data, size, &problems);
    demand(told == problems.count);
    demand((status == STATUS_OK) == (told == 0));
    demand_sound(&config);
    set_lines(&config, data, size);
    demand_sound(&config);
    demand(config_transducers(&config, &map) == STATUS_OK);
    config_free(&config);
    return 0;
}
