/* fuzz_request.c - any bytes as a request to a logger at work. What is taken is one line of UTF-8
 * within its bounds and, as a fact, what the catalogue of facts takes; every refusal has words. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "../../include/facts.h"
#include "../../logger/request.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void demand_harmless(const char *text)
{
    size_t length = 0;
    demand(strlen(text) <= REQUEST_TEXT_MAX);
    for (; *text; text += length) {
        length = utf8_length(text);
        demand(length > 0);
        demand((unsigned char)*text >= 0x20 && *text != 0x7F);
    }
}

static void demand_fact(const struct request *request)
{
    struct facts facts = {0};
    demand(request->key && fact_row_find(FACT_RUN, request->key));
    demand(facts_set(&facts, FACT_RUN, 0, request->key, request->text, NULL) == STATUS_OK);
    facts_free(&facts);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct request request;
    struct complaint complaint = {""};
    enum status status = request_parse((const char *)data, size, &request, &complaint);
    demand((status == STATUS_OK) == (complaint.text[0] == '\0'));
    if (status != STATUS_OK)
        return 0;
    demand(request.kind < REQUEST_KIND_COUNT && size <= REQUEST_LINE_MAX);
    demand_harmless(request.text);
    if (request.kind == REQUEST_NOTE || request.kind == REQUEST_PURPOSE)
        demand_fact(&request);
    return 0;
}
