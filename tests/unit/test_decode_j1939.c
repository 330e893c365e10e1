/* test_decode_j1939.c - J1939 messages become readings, trouble codes become events.
 *
 * What each message holds is checked by tests/captures (test_captures_can.c). Layout of trouble
 * codes: SAE J1939-73 as the J1939 database of the open project canboat describes it; the order of
 * the lamps as public captures of running engines have it (protect in the lowest bits). Payloads
 * are our own. */
#include "can_kit.h"

#include "../../logger/messages_can.h"

/* The engine of source address 0 may be given another number: the bus of the starboard engine. */
static void the_engine_can_be_set(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_J1939, 1);
    kit_frames(&kit,
               "0CF00400#F07D7DA04B00FFFF 0CF00401#F07D7DA04B01FFFF 18FEF500#CAFFFFFFFFFFFFFF");
    kit_end(&kit, "engines",
            "EEC1 engine 1 0 \"\" engine_torque=0 engine_speed=2420\n"
            "EEC1 engine 2 1 \"\" engine_torque=0 engine_speed=2420\n"
            "AMB vessel 0 0 \"\" air_pressure=101\n"
            "tally not_available 2\n");
}

static void short_messages(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_J1939, 0);
    kit_frames(&kit, "0CF00400#F07D7DA04B 0CF00400#F07D7DA0 18FEEE00#7B 18FEEE00#");
    kit_end(&kit, "what is there counts",
            "EEC1 engine 0 0 \"\" engine_torque=0 engine_speed=2420\n"
            "EEC1 engine 0 0 \"\" engine_torque=0\n"
            "ET1 engine 0 0 \"\" coolant_temperature=83\n"
            "tally short_message 3\n");
}

/* --- trouble codes */

/* SPN 110 is 6E 00 0., FMI 0; SPN 100 is 64 00 0., FMI 1; SPN 111 is 6F 00 0., FMI 17 = 0x11. */
#define NONE "18FECA00#00FF00000000FFFF "
#define COOLANT_HIGH "18FECA00#04FF6E000003FFFF "
#define OIL_LOW "18FECA00#10FF64000101FFFF "
#define BAM_3 "1CECFF00#200E0002FFCAFE00 1CEBFF00#0154FF6E00000364 1CEBFF00#020001016F001102 "

static void trouble_codes(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    kit.texts = true;
    kit_frames(&kit, NONE NONE);
    kit_expect(&kit, "none", "");
    kit_frames(&kit, COOLANT_HIGH);
    kit_expect(&kit, "one comes",
               "DM1 engine 0 0 \"\" event lamp_amber_warning: Amber warning lamp: on\n"
               "DM1 engine 0 0 \"\" event fault_110_0: Trouble code SPN 110 (coolant temperature), "
               "FMI 0 (above normal, most severe): on, occurrence count 3\n");
    kit_frames(&kit, COOLANT_HIGH COOLANT_HIGH);
    kit_expect(&kit, "and stays", "");
    kit_frames(&kit, "18FECA00#08FF6E000003FFFF 18FECA00#0CFF6E000003FFFF");
    kit_expect(&kit, "a lamp in error or not available says nothing", "");
    kit_frames(&kit, BAM_3);
    kit_expect(&kit, "two more, in a longer message",
               "DM1 engine 0 0 \"\" event lamp_red_stop: Red stop lamp: on\n"
               "DM1 engine 0 0 \"\" event lamp_malfunction: Malfunction lamp: on\n"
               "DM1 engine 0 0 \"\" event fault_100_1: Trouble code SPN 100 (engine oil pressure), "
               "FMI 1 (below normal, most severe): on, occurrence count 1\n"
               "DM1 engine 0 0 \"\" event fault_111_17: Trouble code SPN 111 (coolant level), "
               "FMI 17 (below normal, least severe): on, occurrence count 2\n");
    kit_frames(&kit, "1CECFF00#200E0002FFCAFE00 1CEBFF00#0154FF6E00000364 ");
    kit_expect(&kit, "a message that is lost changes nothing", "");
    kit_frames(&kit, OIL_LOW);
    kit_expect(
        &kit, "two go",
        "DM1 engine 0 0 \"\" event lamp_amber_warning_ended: Amber warning lamp: off\n"
        "DM1 engine 0 0 \"\" event lamp_malfunction_ended: Malfunction lamp: off\n"
        "DM1 engine 0 0 \"\" event fault_110_0_ended: Trouble code SPN 110 (coolant "
        "temperature), FMI 0 (above normal, most severe): off\n"
        "DM1 engine 0 0 \"\" event fault_111_17_ended: Trouble code SPN 111 (coolant level), "
        "FMI 17 (below normal, least severe): off\n");
    kit_frames(&kit, "18FECA00#FFFFFFFFFF7FFFFF ");
    kit_expect(&kit, "not available: nothing is known to have ended", "");
    kit_frames(&kit, NONE);
    kit_expect(&kit, "all over",
               "DM1 engine 0 0 \"\" event lamp_red_stop_ended: Red stop lamp: off\n"
               "DM1 engine 0 0 \"\" event fault_100_1_ended: Trouble code SPN 100 (engine oil "
               "pressure), FMI 1 (below normal, most severe): off\n");
    kit_end(&kit, "counts", "tally not_available 1\ntally transport_timeout 1\n");
}

static void trouble_codes_of_two_engines(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    kit_frames(&kit,
               COOLANT_HIGH "18FECA01#00FF64000101FFFF 18FECA01#00FF00000000FFFF " COOLANT_HIGH);
    kit_end(&kit, "each has its own",
            "DM1 engine 0 0 \"\" event lamp_amber_warning\n"
            "DM1 engine 0 0 \"\" event fault_110_0\n"
            "DM1 engine 1 1 \"\" event fault_100_1\n"
            "DM1 engine 1 1 \"\" event fault_100_1_ended\n");
}

static void odd_trouble_codes(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    kit.texts = true;
    /* SPN 520193 = 0x7F001: its highest three bits are those of the third byte; FMI 7 */
    kit_frames(&kit, "18FECA00#00FF01F0E77EFFFF ");
    kit_expect(&kit, "a maker's own number",
               "DM1 engine 0 0 \"\" event fault_520193_7: Trouble code SPN 520193 (no name known "
               "here), FMI 7 (mechanical system not responding): on, occurrence count 126\n");
    /* the conversion bit: the number is in one of three older orders, which one is not said */
    kit_frames(&kit, "18FECA00#00FF6E000085FFFF ");
    kit_expect(&kit, "older bit order",
               "DM1 engine 0 0 \"\" event fault_raw_0006e_0: Trouble code in an older bit order, "
               "0006E as it stands, FMI 0 (above normal, most severe): on, occurrence count 5\n"
               "DM1 engine 0 0 \"\" event fault_520193_7_ended: Trouble code SPN 520193 (no name "
               "known here), FMI 7 (mechanical system not responding): off\n");
    kit_frames(&kit, "18FECA00#00FF6E00 18FECA00#00FF 18FECA00#00 ");
    kit_expect(&kit, "too short for a code: nothing is known to have ended", "");
    kit_frames(&kit, "18FECA00#00FF00000000");
    kit_end(&kit, "six bytes are enough",
            "DM1 engine 0 0 \"\" event fault_raw_0006e_0_ended: Trouble code in an older bit "
            "order, 0006E as it stands, FMI 0 (above normal, most severe): off\n"
            "tally short_message 3\n");
}

/* The words for parameters and failures. Numbers: J1939 database of the open project canboat;
 * failure modes SAE J1939-73 (from memory). */
static void words_for_trouble_codes(void **state)
{
    (void)state;
    static const struct {
        unsigned spn, fmi;
        const char *parameter, *failure;
    } words[] = {
        {52, 0, "intercooler temperature", "above normal, most severe"},
        {91, 1, "accelerator pedal position", "below normal, most severe"},
        {92, 2, "engine load", "erratic or incorrect"},
        {94, 3, "fuel delivery pressure", "voltage above normal"},
        {98, 4, "engine oil level", "voltage below normal"},
        {100, 5, "engine oil pressure", "current below normal or open circuit"},
        {101, 6, "crankcase pressure", "current above normal or grounded circuit"},
        {102, 7, "boost pressure", "mechanical system not responding"},
        {105, 8, "intake manifold temperature", "abnormal frequency or pulse width"},
        {107, 9, "air filter differential pressure", "abnormal update rate"},
        {108, 10, "barometric pressure", "abnormal rate of change"},
        {109, 11, "coolant pressure", "cause not known"},
        {110, 12, "coolant temperature", "bad device"},
        {111, 13, "coolant level", "out of calibration"},
        {112, 14, "coolant filter differential pressure", "special instructions"},
        {127, 15, "transmission oil pressure", "above normal, least severe"},
        {167, 16, "charging voltage", "above normal, moderately severe"},
        {168, 17, "battery voltage", "below normal, least severe"},
        {171, 18, "ambient air temperature", "below normal, moderately severe"},
        {173, 19, "exhaust gas temperature", "network data in error"},
        {174, 20, "fuel temperature", "drifted high"},
        {175, 21, "engine oil temperature", "drifted low"},
        {176, 31, "turbocharger oil temperature", "condition exists"},
        {177, 22, "transmission oil temperature", "no name known here"},
        {183, 30, "fuel rate", "no name known here"},
        {190, 0, "engine speed", "above normal, most severe"},
        {513, 0, "engine torque", "above normal, most severe"},
        {97, 0, "no name known here", "above normal, most severe"},
    };
    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        char want[512];
        struct can_kit kit;
        uint8_t data[8] = {0,
                           0xFF,
                           (uint8_t)words[i].spn,
                           (uint8_t)(words[i].spn >> 8),
                           (uint8_t)words[i].fmi,
                           1,
                           0xFF,
                           0xFF};
        kit_start(&kit, BUS_J1939, 0);
        kit.texts = true;
        kit_message(&kit, 65226, 0, false, 0, data, 8);
        snprintf(
            want, sizeof want,
            "DM1 engine 0 0 \"\" event fault_%u_%u: Trouble code SPN %u (%s), FMI %u (%s): on, "
            "occurrence count 1\n",
            words[i].spn, words[i].fmi, words[i].spn, words[i].parameter, words[i].fmi,
            words[i].failure);
        kit_end(&kit, words[i].parameter, want);
    }
}

/* More codes than anybody keeps: no more memory, no flood of events. */
static void a_flood_of_trouble_codes(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    for (unsigned i = 0; i < 3000; i++) {
        uint8_t data[8] = {0, 0xFF, (uint8_t)i, (uint8_t)(i >> 8), 1, 1, 0xFF, 0xFF};
        kit_message(&kit, 65226, i % 100, false, 0, data, 8);
    }
    char *text = kit_take(&kit);
    size_t events = 0;
    for (const char *p = text; (p = strstr(p, " event ")); p++)
        events++;
    free(text);
    assert_in_range(events, 256, 256 + 6); /* 256 at once, two a second, 3 s */
    assert_in_range(kit.tally.line[REASON_EVENT_HELD_BACK].count, 2000, 6000);
    kit_stop(&kit);
}

/* The transport protocol carries other messages, too. */
static void other_messages_by_transport(void **state)
{
    (void)state;
    struct can_kit kit;
    kit_start(&kit, BUS_AUTO, 0);
    /* 65251, engine configuration: none of ours, counted once when it is whole */
    kit_frames(&kit,
               "1CECFF00#20090002FFE3FE00 1CEBFF00#0100000000000000 1CEBFF00#020000FFFFFFFFFF");
    /* the packets of a message that claims to hold packets */
    kit_frames(&kit,
               "1CECFF00#20090002FF00EB00 1CEBFF00#0100000000000000 1CEBFF00#020000FFFFFFFFFF");
    kit_end(&kit, "none of ours", "tally not_ours 2\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_engine_can_be_set),
        cmocka_unit_test(short_messages),
        cmocka_unit_test(trouble_codes),
        cmocka_unit_test(trouble_codes_of_two_engines),
        cmocka_unit_test(odd_trouble_codes),
        cmocka_unit_test(words_for_trouble_codes),
        cmocka_unit_test(a_flood_of_trouble_codes),
        cmocka_unit_test(other_messages_by_transport),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
