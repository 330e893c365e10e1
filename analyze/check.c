/* check.c - is a run file whole? */
#include "check.h"

#include "run_read.h"
#include "text.h"

/* What run_check says, collected so that a sound run can be passed over in silence. */
static void collect(void *self, int severity, const char *words)
{
    static const char *const marks[] = {"note", "warning", "DAMAGE"};
    struct text *found = self;
    text_addf(found, "  %s: ", marks[severity < 0 ? 0 : severity > 2 ? 2 : severity]);
    text_clean(found, words);
    text_add(found, "\n");
}

static const char *verdict(int worst)
{
    return worst >= 2 ? "damaged" : worst == 1 ? "sound, with warnings" : "sound";
}

enum soundness check_run(const char *path, bool quiet, FILE *out, struct complaint *complaint)
{
    struct run *run;
    struct text found = {0}, name = {0};
    int worst = 0;
    if (run_open(path, &run, complaint) != STATUS_OK)
        return CHECK_UNREADABLE;
    enum status status = run_check(run, collect, &found, &worst, complaint);
    run_close(run);
    text_clean(&name, path);
    if (status == STATUS_OK && (worst > 0 || !quiet))
        fprintf(out, "%s: %s\n%s", text_string(&name), verdict(worst), text_string(&found));
    text_free(&name);
    text_free(&found);
    if (status != STATUS_OK)
        return CHECK_UNREADABLE;
    return worst >= 2 ? CHECK_DAMAGED : CHECK_SOUND;
}
