/* Files are made whole or not at all, and never in place of what must stay. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "../../analyze/folder.h"

static char folder[] = "/tmp/test_folder.XXXXXX";

static const char *in_folder(const char *name)
{
    static char path[400];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return path;
}

static size_t entries(void)
{
    size_t count = 0;
    struct dirent *entry;
    DIR *dir = opendir(folder);
    assert_non_null(dir);
    while ((entry = readdir(dir)) != NULL)
        count += entry->d_name[0] != '.';
    closedir(dir);
    return count;
}

static int make(void **state)
{
    (void)state;
    strcpy(folder + strlen(folder) - 6, "XXXXXX");
    return mkdtemp(folder) == NULL;
}

static int drop(void **state)
{
    (void)state;
    struct dirent *entry;
    DIR *dir = opendir(folder);
    while ((entry = readdir(dir)) != NULL)
        if (entry->d_name[0] != '.')
            remove(in_folder(entry->d_name));
    closedir(dir);
    return rmdir(folder);
}

static void put(const char *name, const char *bytes)
{
    FILE *file = fopen(in_folder(name), "wb");
    assert_non_null(file);
    fputs(bytes, file);
    assert_int_equal(fclose(file), 0);
}

static void holds(const char *name, const char *expected)
{
    struct text content = {0};
    assert_int_equal(folder_read(folder, name, 1000, &content, NULL), STATUS_OK);
    assert_string_equal(text_string(&content), expected);
    text_free(&content);
}

static void writes_and_replaces(void **state)
{
    (void)state;
    struct text content = {0};
    text_add(&content, "one");
    assert_int_equal(folder_write(folder, "a.txt", &content, NULL), STATUS_OK);
    text_add(&content, " two");
    assert_int_equal(folder_write(folder, "a.txt", &content, NULL), STATUS_OK);
    holds("a.txt", "one two");
    assert_int_equal(entries(), 1);
    text_free(&content);
}

static void unfinished_files_vanish(void **state)
{
    (void)state;
    struct new_file file;
    put("a.txt", "old");
    char *path = folder_path(folder, "a.txt");
    assert_int_equal(new_file_open(&file, path, NULL), STATUS_OK);
    fputs("half", file.stream);
    assert_int_equal(new_file_close(&file, false, NULL), STATUS_OK);
    holds("a.txt", "old");
    assert_int_equal(entries(), 1);
    free(path);
}

/* A full disk (/dev/full answers every write with ENOSPC) is told as one. */
static void full_disks_are_told(void **state)
{
    (void)state;
    struct complaint complaint;
    struct text content = {0};
    text_add(&content, "x");
    assert_int_equal(file_write("/dev/full", &content, &complaint), STATUS_FULL);
    assert_non_null(strstr(complaint.text, "No space left"));
    text_free(&content);
}

/* Seen: a result written to a device replaced the device. */
static void devices_and_pipes_stay_what_they_are(void **state)
{
    (void)state;
    struct stat before, after;
    struct text content = {0};
    text_add(&content, "x");
    char *pipe_path = folder_path(folder, "pipe");
    assert_int_equal(mkfifo(pipe_path, 0600), 0);
    FILE *reader = fopen(pipe_path, "r+"); /* keeps a reader there, so that writing does not wait */
    assert_non_null(reader);
    assert_int_equal(stat(pipe_path, &before), 0);
    assert_int_equal(file_write(pipe_path, &content, NULL), STATUS_OK);
    assert_int_equal(fgetc(reader), 'x');
    assert_int_equal(stat(pipe_path, &after), 0);
    assert_true(S_ISFIFO(after.st_mode) && before.st_ino == after.st_ino);
    fclose(reader);
    free(pipe_path);
    text_free(&content);
}

static void run_files_are_never_overwritten(void **state)
{
    (void)state;
    struct complaint complaint;
    struct text content = {0};
    put("run.h5", "\x89HDF\r\n\x1a\n and so on");
    assert_int_equal(folder_write(folder, "run.h5", &content, &complaint), STATUS_EXISTS);
    assert_non_null(strstr(complaint.text, "is not overwritten"));
    holds("run.h5", "\x89HDF\r\n\x1a\n and so on");
}

static void folders_are_made_one_deep(void **state)
{
    (void)state;
    struct complaint complaint;
    struct text content = {0};
    assert_int_equal(folder_make(in_folder("new"), NULL), STATUS_OK);
    assert_int_equal(folder_make(in_folder("new"), NULL), STATUS_OK);
    assert_int_equal(folder_make(in_folder("no/such"), &complaint), STATUS_NOT_FOUND);
    assert_non_null(strstr(complaint.text, "make that first"));
    put("file", "x");
    assert_int_equal(folder_make(in_folder("file"), NULL), STATUS_EXISTS);
    assert_int_equal(folder_make("", NULL), STATUS_BAD_USAGE);
    assert_int_equal(folder_write(folder, "new", &content, NULL), STATUS_EXISTS);
    assert_int_equal(folder_write(in_folder("gone"), "x", &content, NULL), STATUS_IO);
}

static void large_files_are_not_read(void **state)
{
    (void)state;
    struct text content = {0};
    put("large", "0123456789");
    assert_int_equal(folder_read(folder, "large", 9, &content, NULL), STATUS_BAD_DATA);
    text_free(&content);
    assert_int_equal(folder_read(folder, "missing", 9, &content, NULL), STATUS_IO);
    text_free(&content);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(writes_and_replaces, make, drop),
        cmocka_unit_test_setup_teardown(unfinished_files_vanish, make, drop),
        cmocka_unit_test_setup_teardown(full_disks_are_told, make, drop),
        cmocka_unit_test_setup_teardown(devices_and_pipes_stay_what_they_are, make, drop),
        cmocka_unit_test_setup_teardown(run_files_are_never_overwritten, make, drop),
        cmocka_unit_test_setup_teardown(folders_are_made_one_deep, make, drop),
        cmocka_unit_test_setup_teardown(large_files_are_not_read, make, drop),
    };
    return cmocka_run_group_tests_name("folder", tests, NULL, NULL);
}
