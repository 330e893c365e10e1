/* note_command.c - adds a remark, and says which steps after a service it ticks. */
#include "note_command.h"

#include <string.h>

#include "checklist.h"
#include "note.h"
#include "report.h"
#include "text.h"

/* "filled and bled" without a key is meant as what was done. */
static void add_key(struct text *out, const char *remark)
{
    if (strchr(remark, '=') == NULL)
        text_add(out, "done=");
    text_add(out, remark);
}

static size_t take(struct checklist *list, const char *remark)
{
    char key[NOTE_KEY_MAX + 1];
    size_t length = strcspn(remark, "=");
    if (remark[length] == '\0' || length > NOTE_KEY_MAX)
        return 0;
    memcpy(key, remark, length);
    key[length] = '\0';
    return checklist_take_note(list, 0, key, remark + length + 1);
}

static enum status ticks_nothing(const char *words, struct complaint *complaint)
{
    struct text steps = {0};
    for (int item = 0; item < CHECK_COUNT; item++)
        text_addf(&steps, "%s%s", item > 0 ? ", " : "", check_key((enum check_item)item));
    enum status status =
        complain(complaint, STATUS_BAD_USAGE,
                 "\"%.80s\" ticks no step after a service. Steps are %s. For any other remark give "
                 "KEY=VALUE: weather=\"rain from noon on\"",
                 words, text_string(&steps));
    text_free(&steps);
    return status;
}

static void tell(struct document *out, const struct checklist *list)
{
    for (int item = 0; item < CHECK_COUNT; item++) {
        const struct tick *tick = &list->ticks[item];
        if (tick->state == TICK_GIVEN)
            document_itemf(out, "ticked: %s", check_title((enum check_item)item));
        else if (tick->state == TICK_DENIED)
            document_itemf(out, "not ticked, said to be not done: %s",
                           check_title((enum check_item)item));
    }
}

enum status note_run(const char *run, const char *remark, struct document *out,
                     struct complaint *complaint)
{
    struct text whole = {0};
    struct checklist list = {0};
    enum status status = STATUS_OK;
    add_key(&whole, remark);
    size_t items = take(&list, text_string(&whole));
    if (whole.failed)
        status = complain(complaint, STATUS_MEMORY, "no memory left for the remark");
    else if (items == 0 && strncmp(text_string(&whole), "done=", 5) == 0)
        status = ticks_nothing(text_string(&whole) + 5, complaint);
    if (status == STATUS_OK)
        status = note_add(run, text_string(&whole), complaint);
    if (status == STATUS_OK)
        tell(out, &list);
    text_free(&whole);
    return status;
}
