/* test_boat_file.c - facts from an INI file, and remarks beside a run file. */
#include "run_support.h"

#include <unistd.h>

#include "../../analyze/boat_file.h"
#include "../../analyze/note.h"

static const char *write_file(const char *content)
{
    static char path[] = "/tmp/searun-boat-XXXXXX";
    strcpy(path + strlen(path) - 6, "XXXXXX");
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, content, strlen(content)), (ssize_t)strlen(content));
    close(fd);
    return path;
}

static void reads_all_sections(void **state)
{
    (void)state;
    struct facts facts = {0};
    struct complaint complaint = {""};
    const char *path = write_file("; a remark\n[boat]\nname = Tern's Reach\nowner = K. Marsh\n"
                                  "  of the outer pier\n\n[engine 1]\nlabel = starboard\n"
                                  "thermostat = 71, 82\n[run]\nwind = force 3\n");
    assert_int_equal(boat_file_read(path, &facts, &complaint), STATUS_OK);
    assert_string_equal(facts_get(&facts, FACT_BOAT, 0, "owner"), "K. Marsh of the outer pier");
    assert_string_equal(facts_get(&facts, FACT_ENGINE, 1, "label"), "starboard");
    assert_string_equal(facts_get(&facts, FACT_ENGINE, 0, "label"), "");
    assert_true(boat_file_has(&facts, FACT_RUN, 0, "wind"));
    assert_false(boat_file_has(&facts, FACT_RUN, 0, "purpose")); /* only its default */
    facts_free(&facts);
    unlink(path);
}

static void tells_line_and_reason(void **state)
{
    (void)state;
    static const char *const bad[][2] = {
        {"[boat]\nnme = x\n", "line 2"},
        {"[ship]\nname = x\n", "[boat], [engine 0] and [run]"},
        {"[engine]\nlabel = x\n", "is no section"},
        {"[engine 300]\nlabel = x\n", "is no section"},
        {"[boat]\nname = a\nname = b\n", "line 3: name is set twice"},
        {"[boat]\n\nno setting here\n", "line 3"},
        {"[engine 0]\nthermostat = 82, 71\n", "line 2"},
        {"name = x\n", "is no section"},
        {"[boat]\nname = \xff\xfe\n", "line 2"},
        {"[boat]\nnotes = "
         "0123456789012345678901234567890123456789012345678901234567890123456789012345678901234567"
         "0123456789012345678901234567890123456789012345678901234567890123456789012345678901234567"
         "0123456789012345678901234567890123456789012345678901234567890123456789012345678901234567"
         "\n",
         "begins with a space"}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        struct facts facts = {0};
        struct complaint complaint = {""};
        const char *path = write_file(bad[i][0]);
        assert_int_equal(boat_file_read(path, &facts, &complaint), STATUS_BAD_USAGE);
        if (strstr(complaint.text, bad[i][1]) == NULL)
            fail_msg("\"%s\" is not in: %s", bad[i][1], complaint.text);
        facts_free(&facts);
        unlink(path);
    }
    struct facts facts = {0};
    struct complaint complaint = {""};
    assert_int_equal(boat_file_read("/nowhere/boat.ini", &facts, &complaint), STATUS_NOT_FOUND);
    facts_free(&facts);
}

static void fills_only_what_is_missing(void **state)
{
    (void)state;
    struct facts boat = {0}, run = {0}, entered = {0};
    struct complaint complaint = {""};
    facts_set(&boat, FACT_BOAT, 0, "name", "other", &complaint);
    facts_set(&boat, FACT_ENGINE, 0, "model", "Corrigal 6-230", &complaint);
    facts_set(&boat, FACT_ENGINE, 1, "model", "another", &complaint);
    facts_set(&run, FACT_BOAT, 0, "name", "Tern's Reach", &complaint);
    facts_set(&run, FACT_ENGINE, 1, "model", "Corrigal 6-230", &complaint);
    assert_int_equal(boat_file_fill(&boat, &run, &entered, &complaint), STATUS_OK);
    assert_string_equal(facts_get(&run, FACT_BOAT, 0, "name"), "Tern's Reach");
    assert_string_equal(facts_get(&run, FACT_ENGINE, 0, "model"), "Corrigal 6-230");
    assert_string_equal(facts_get(&run, FACT_ENGINE, 1, "model"), "Corrigal 6-230");
    assert_int_equal(entered.count, 1);
    assert_true(boat_file_has(&entered, FACT_ENGINE, 0, "model"));
    assert_false(boat_file_has(NULL, FACT_ENGINE, 0, "model"));
    facts_free(&boat);
    facts_free(&run);
    facts_free(&entered);
}

/* Somebody may have edited the remarks by hand: what can be read is, the rest is counted. */
static void reads_what_can_be_read(void **state)
{
    (void)state;
    struct notes notes;
    struct complaint complaint = {""};
    char run[300], path[320];
    snprintf(run, sizeof run, "%s", write_file("x"));
    snprintf(path, sizeof path, "%s.notes", run);
    assert_int_equal(notes_read(run, &notes, &complaint), STATUS_OK);
    assert_int_equal(notes.count, 0);
    notes_free(&notes);
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    fputs("weather=rain\nno remark\n\nA=b\nwho=\033[31mred\r\nlast=without an end", file);
    fclose(file);
    assert_int_equal(notes_read(run, &notes, &complaint), STATUS_OK);
    assert_int_equal(notes.count, 3);
    assert_int_equal(notes.left_out, 2);
    assert_string_equal(notes.list[0].key, "weather");
    assert_string_equal(notes.list[1].value, " [31mred ");
    assert_string_equal(notes.list[2].value, "without an end");
    notes_free(&notes);
    assert_int_equal(note_add(run, "weather=fair", &complaint), STATUS_BAD_DATA);
    unlink(path);
    unlink(run);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_all_sections),
        cmocka_unit_test(tells_line_and_reason),
        cmocka_unit_test(fills_only_what_is_missing),
        cmocka_unit_test(reads_what_can_be_read),
    };
    return cmocka_run_group_tests_name("boat_file", tests, NULL, NULL);
}
