/* fuzz_capture.c - any bytes as a capture file, and as one line of capture text. Beyond crashes:
 * instants are never negative, inputs exist, and a frame or line that was read is written back as
 * it was. */
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "../../logger/capture.h"
#include "capture_text.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void demand(int holds)
{
    if (!holds)
        abort();
}

static void demand_about(const struct capture_about *about)
{
    demand(about->input_count >= 1 && about->input_count <= INPUTS_MAX);
    demand(about->title != NULL);
    for (size_t i = 0; i < about->input_count; i++) {
        demand(memchr(about->inputs[i].label, '\0', sizeof about->inputs[i].label) != NULL);
        demand(memchr(about->inputs[i].text, '\0', sizeof about->inputs[i].text) != NULL);
    }
}

/* Writes a message as capture text and reads it back. */
static void demand_round_trip(const struct raw_message *message)
{
    const struct run_input input = {"udp:10110", "plotter"};
    char line[CAPTURE_TEXT_ROOM];
    struct capture_text text;
    size_t length = capture_text_message(line, sizeof line, 0, &input, message);
    demand(length > 0 || message->length > CAPTURE_LINE_MAX);
    if (length == 0)
        return;
    demand(capture_text_parse(line, length - 1, &text) ==
           (message->is_can ? CAPTURE_FRAME : CAPTURE_LINE));
    demand(text.unix_us ==
           (message->is_can ? message->at / NS_PER_US : message->at / NS_PER_MS * 1000));
    if (message->is_can) {
        demand(text.id == message->can_id);
        demand(text.data_length == message->length);
        demand(memcmp(text.data, message->bytes, message->length) == 0);
    } else {
        demand(text.length == message->length);
        demand(message->length == 0 || memcmp(text.bytes, message->bytes, message->length) == 0);
    }
}

/* The same for an event. */
static void demand_event_again(const struct capture_item *item)
{
    char line[CAPTURE_TEXT_ROOM], words[256] = "";
    struct capture_text text;
    size_t kept = item->length < sizeof words ? item->length : sizeof words - 1;
    memcpy(words, item->bytes, kept);
    int64_t at = item->at % (INT64_C(4000000000) * NS_PER_S);
    size_t length = capture_text_event(line, sizeof line, 0, at, item->key, words);
    demand(length > 0 || strpbrk(item->key, "\r") || !item->key[0]);
    if (length == 0)
        return;
    demand(capture_text_parse(line, length - 1, &text) == CAPTURE_EVENT);
    demand(text.unix_us == at / NS_PER_US);
    demand(text.label_length == strlen(item->key));
}

static void demand_item(const struct capture_item *item, const struct capture_about *about)
{
    demand(item->at >= 0 && item->input < about->input_count);
    if (item->what == CAPTURE_ITEM_EVENT)
        demand_event_again(item);
    if (item->what != CAPTURE_ITEM_LINE && item->what != CAPTURE_ITEM_FRAME)
        return;
    struct raw_message message = {.at = item->at % (INT64_C(4000000000) * NS_PER_S),
                                  .is_can = item->what == CAPTURE_ITEM_FRAME,
                                  .can_id = item->id,
                                  .bytes = (const uint8_t *)item->bytes,
                                  .length = item->length};
    if (message.is_can) {
        message.bytes = item->data;
        message.length = item->data_length;
        if (message.can_id & CAPTURE_CAN_REMOTE) /* carry no data, whatever their length says */
            return;
    }
    demand_round_trip(&message);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct capture *capture = NULL;
    struct complaint complaint = {""};
    struct capture_text text;
    capture_text_parse((const char *)data, size, &text);
    int fd = memfd_create("capture", 0);
    demand(fd >= 0 && write(fd, data, size) == (ssize_t)size);
    if (capture_open_fd(fd, "fuzz.txt", &capture, &complaint) != STATUS_OK) {
        demand(complaint.text[0] != '\0');
        return 0;
    }
    const struct capture_about *about = capture_about(capture);
    struct capture_item item;
    enum status status = STATUS_OK;
    demand_about(about);
    while (capture_next(capture, &item, &status))
        demand_item(&item, about);
    demand(status == STATUS_OK);
    capture_close(capture);
    return 0;
}
