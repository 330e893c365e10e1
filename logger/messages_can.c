/* messages_can.c - messages of both protocols, and the check of all tables. See messages_can.h. */
#include "messages_can.h"

/* clang-format off */

/* --- 60928 Address Claim: the NAME of the device (drawing in devices.c)
 * Source: open PGN database canboat. */
static const struct can_field fields_60928[] = {
    {.role = CAN_NAME, .first = 0, .bits = 64},
};

/* 60416 and 60160 are drawn in frame_can.c. */
const struct can_row can_rows_both[] = {
    {.number = 60160,
     .key = "TP.DT",
     .title = "Transport protocol, data",
     .protocol = PROTOCOL_COUNT,
     .carrier = CARRIED_DATA,
     .place = PLACE_VESSEL},
    {.number = 60416,
     .key = "TP.CM",
     .title = "Transport protocol, connection management",
     .protocol = PROTOCOL_COUNT,
     .carrier = CARRIED_CONTROL,
     .place = PLACE_VESSEL},
    {.number = 60928,
     .key = "60928",
     .title = "Address claim",
     .protocol = PROTOCOL_COUNT,
     .carrier = CARRIED_SINGLE,
     .place = PLACE_VESSEL,
     .fields = fields_60928,
     .count = 1},
};
const size_t can_row_count_both = sizeof can_rows_both / sizeof *can_rows_both;
/* clang-format on */

/* --- the check */

#define COUNT_OF(array) (sizeof(array) / sizeof *(array))

static bool number_is_sound(const struct can_field *field)
{
    return field->bits >= 1 && field->bits <= 64 && field->first % 8 + field->bits <= 64;
}

static bool choices_are_sound(const struct can_row *row, const struct can_field *field)
{
    const struct can_choice *choice = field->choices;
    if (!choice)
        return false;
    for (; choice->code != CHOICE_END && choice->code != CHOICE_OTHER; choice++)
        if (field->role == CAN_SELECT &&
            (!choice->label || (choice->label[0] == '\0' && choice->place != row->place)))
            return false;
    return true;
}

static bool status_is_sound(const struct can_field *field)
{
    const struct can_status *status = field->status;
    if (!status || field->slot >= CAN_STATUS_SLOTS || status->count > CAN_STATUS_ITEMS ||
        status->count * status->width != field->bits || field->bits > 16)
        return false;
    for (unsigned i = 0; i < status->count; i++)
        if (!status->item[i].key || !status->item[i].title)
            return false;
    return true;
}

/* A value of group 0 needs its channel, one of another group the CAN_SELECT of the group before
 * it. */
static bool value_is_sound(const struct can_row *row, const struct can_field *field)
{
    bool decided = field->group == 0 && field->channel < CHANNEL_COUNT;
    for (const struct can_field *before = row->fields; before < field; before++)
        decided |= before->role == CAN_SELECT && before->group == field->group;
    return decided && field->scale != 0;
}

static bool field_is_sound(const struct can_row *row, const struct can_field *field)
{
    if (field->group >= CAN_GROUPS)
        return false;
    switch ((enum can_role)field->role) {
    case CAN_VALUE:
        return number_is_sound(field) && value_is_sound(row, field);
    case CAN_SELECT:
        return number_is_sound(field) && field->group > 0 && choices_are_sound(row, field);
    case CAN_CODE:
    case CAN_VALID:
        return number_is_sound(field) && choices_are_sound(row, field);
    case CAN_STATUS:
        return number_is_sound(field) && status_is_sound(field);
    case CAN_TEXT:
    case CAN_TEXT_COUNTED:
        return field->title && row->text_event && field->first % 8 == 0 && field->bits % 8 == 0;
    case CAN_FAULTS:
        return field->first % 8 == 0;
    case CAN_INSTANCE:
    case CAN_DATE:
    case CAN_TIME:
    case CAN_NAME:
        return number_is_sound(field);
    }
    return false;
}

bool can_row_is_sound(const struct can_row *row)
{
    bool carrier = row->carrier == CARRIED_CONTROL || row->carrier == CARRIED_DATA;
    if (!row->key || !row->key[0] || !row->title || !row->title[0] || row->place >= PLACE_COUNT ||
        row->count > VALUES_MAX || (row->count == 0) != carrier)
        return false;
    for (unsigned i = 0; i < row->count; i++)
        if (!field_is_sound(row, &row->fields[i]))
            return false;
    return true;
}

uint32_t can_rows_check(void)
{
    const struct {
        const struct can_row *row;
        size_t count;
    } tables[] = {
        {can_rows_both, can_row_count_both},
        {can_rows_n2k, can_row_count_n2k},
        {can_rows_j1939, can_row_count_j1939},
    };
    for (size_t t = 0; t < COUNT_OF(tables); t++)
        for (size_t i = 0; i < tables[t].count; i++) {
            if (!can_row_is_sound(&tables[t].row[i]))
                return tables[t].row[i].number;
            for (size_t u = 0; u <= t; u++)
                for (size_t j = 0; j < (u < t ? tables[u].count : i); j++)
                    if (tables[u].row[j].number == tables[t].row[i].number)
                        return tables[t].row[i].number;
        }
    return 0;
}
