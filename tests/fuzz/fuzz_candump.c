/* fuzz_candump.c - any text as a candump log: what is taken for a frame is one, written again it is
 * read the same, and goes through the decoder. */
#include "can_checks.h"

#include "../../include/capture_text.h"

static void write_and_read(const struct capture_text *frame)
{
    static const struct run_input input = {.label = "can0"};
    struct raw_message message = {0, 0, true, frame->id, frame->data, frame->data_length};
    struct capture_text again;
    char line[CAPTURE_TEXT_ROOM];
    size_t length = capture_text_message(line, sizeof line, frame->unix_us, &input, &message);
    if (length == 0)
        return;
    CHECK(capture_text_parse(line, length - 1, &again) == CAPTURE_FRAME);
    CHECK(again.id == frame->id && again.data_length == frame->data_length);
    CHECK(again.unix_us == frame->unix_us);
    CHECK(memcmp(again.data, frame->data, frame->data_length) == 0);
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    struct can_checks checks = {0};
    struct sink sink = checking_sink(&checks);
    struct tally tally = {0};
    struct can_decoder *decoder;
    if (can_decoder_new(0, BUS_AUTO, 0, &decoder) != STATUS_OK)
        return 0;
    const char *text = (const char *)bytes;
    while (size > 0) {
        const char *end = memchr(text, '\n', size);
        size_t length = end ? (size_t)(end - text) : size;
        struct capture_text frame;
        if (capture_text_parse(text, length, &frame) == CAPTURE_FRAME) {
            CHECK(frame.data_length <= 8);
            write_and_read(&frame);
            checks.at = frame.unix_us; /* taken for ns: any instant will do */
            can_decoder_frame(decoder, checks.at, frame.id, frame.data, frame.data_length, &sink,
                              &tally);
        }
        length += end != NULL;
        text += length;
        size -= length;
    }
    can_decoder_expire(decoder, INT64_MAX, &tally);
    can_decoder_free(decoder);
    return 0;
}
