/* The list of findings: what was noticed in a recording. */
#include "quell/ingest.h"

/* The list is full: its last entry counts what is not shown, and is as serious as the worst of them. */
static quell_status count_one_more(quell_findings *findings, quell_arena *arena, quell_severity severity)
{
    quell_finding *last = &findings->item[QUELL_FINDINGS_MAX - 1];
    bool counting = last->limit == QUELL_FINDINGS_MAX - 1 && last->remedy[0] == '\0' && last->kind[0] == '.';
    double more = counting ? last->value + 1 : 2;
    const char *text = quell_arena_print(arena, "%.0f more findings are not shown", more);
    if (text == NULL)
        return QUELL_E_MEMORY;
    quell_severity worst = last->severity > severity ? last->severity : severity;
    *last = (quell_finding){"...", worst, more, QUELL_FINDINGS_MAX - 1, text, ""};
    return QUELL_OK;
}

quell_status quell_findings_add(quell_findings *findings, quell_arena *arena, const char *kind,
                                quell_severity severity, double value, double limit, const char *remedy,
                                const char *format, ...)
{
    if (findings->count == QUELL_FINDINGS_MAX)
        return count_one_more(findings, arena, severity);
    va_list arguments;
    va_start(arguments, format);
    const char *text = quell_arena_print_list(arena, format, arguments);
    va_end(arguments);
    if (text == NULL)
        return QUELL_E_MEMORY;
    findings->item[findings->count++] = (quell_finding){kind, severity, value, limit, text, remedy};
    return QUELL_OK;
}
