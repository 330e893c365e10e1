/* fuzz_service_log.c - any bytes as a service history, and as the words of a mark. Beyond crashes:
 * what is taken is in bounds and in order, and every refusal has words. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "../../analyze/checklist.h"
#include "../../analyze/service_log.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void demand_sound(const struct service_event *event)
{
    demand(event->line >= 1);
    demand(event->date > INT64_C(-631238400) && event->date < INT64_C(7258204800)); /* 1950..2200 */
    demand(isnan(event->hours) || (event->hours >= 0 && event->hours <= 200000));
    demand(event->engine >= -1 && event->engine < 253);
    demand(memchr(event->label, '\0', sizeof event->label) != NULL);
    demand(event->label[0] == '\0' || event->engine == -1);
    demand(event->kind < SERVICE_COUNT);
    demand(event->by != NULL && event->notes != NULL);
}

/* What is left out is told, and a date that could be another one was read by the order of the
 * file. */
static void demand_told(const struct service_log *log)
{
    struct text words = {0};
    size_t count = 0, by_order = 0;
    while (service_log_remark(log, count, &words))
        count++;
    demand(count <= SERVICE_FAULTS + 2);
    demand((count > 0) == (log->fault_count > 0 || log->by_order > 0));
    demand(log->by_order == 0 || log->date_order != DATE_ORDER_OPEN);
    for (size_t i = 0; i < log->count; i++)
        by_order += log->events[i].date_by_order;
    demand(by_order == log->by_order);
    text_free(&words);
}

static void read_mark(const uint8_t *data, size_t size)
{
    char words[600];
    struct checklist list = {0};
    size_t length = size < sizeof words - 1 ? size : sizeof words - 1;
    memcpy(words, data, length);
    words[length] = '\0';
    size_t count = checklist_take_mark(&list, 0, 0, words);
    demand((count > 0) == checklist_any(&list));
    checklist_take_note(&list, 1, "done", words);
    checklist_take_note(&list, 1, "bled", words);
    for (size_t i = 0; i < CHECK_COUNT; i++) {
        demand(memchr(list.ticks[i].words, '\0', sizeof list.ticks[i].words) != NULL);
        demand(memchr(list.ticks[i].rest, '\0', sizeof list.ticks[i].rest) != NULL);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct service_log log;
    struct complaint complaint = {""};
    enum status status = service_log_parse((const char *)data, size, "fuzz.csv", &log, &complaint);
    demand((status == STATUS_OK) == (complaint.text[0] == '\0'));
    for (size_t i = 0; i < log.count; i++) {
        demand_sound(&log.events[i]);
        demand(i == 0 || log.events[i - 1].date <= log.events[i].date);
    }
    demand_told(&log);
    service_log_free(&log);
    read_mark(data, size);
    return 0;
}
