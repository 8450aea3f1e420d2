/* Small dense linear programs, solved by GLPK. */
#include "shaping/tailor_private.h"

#include <glpk.h>
#include <math.h>
#include <setjmp.h>

enum { ITERATIONS_MOST = 2000 };

/* GLPK ends the process when it finds a fault of its own or no memory, unless a hook leaves first; nothing of its
   environment can be used afterwards. */
static void leave(void *info)
{
    longjmp(*(jmp_buf *)info, 1);
}

static void set_bound(glp_prob *made, int row, lp_kind kind, double bound)
{
    int type = kind == LP_AT_MOST ? GLP_UP : kind == LP_AT_LEAST ? GLP_LO : GLP_FX;
    glp_set_row_bnds(made, row, type, bound, bound);
}

static void set_range(glp_prob *made, int column, double low, double high)
{
    bool below = isfinite(low), above = isfinite(high);
    int type = below && above ? (low < high ? GLP_DB : GLP_FX) : below ? GLP_LO : above ? GLP_UP : GLP_FR;
    glp_set_col_bnds(made, column, type, below ? low : 0, above ? high : 0);
}

static void fill(glp_prob *made, const lp_problem *problem, int *index, double *value)
{
    glp_set_obj_dir(made, GLP_MIN);
    glp_add_rows(made, (int)problem->rows);
    glp_add_cols(made, (int)problem->columns);
    for (size_t j = 0; j < problem->columns; j++) {
        glp_set_obj_coef(made, (int)j + 1, problem->cost[j]);
        set_range(made, (int)j + 1, problem->low != NULL ? problem->low[j] : 0,
                  problem->high != NULL ? problem->high[j] : HUGE_VAL);
    }
    for (size_t i = 0; i < problem->rows; i++) {
        int used = 0;
        set_bound(made, (int)i + 1, problem->kind[i], problem->bound[i]);
        for (size_t j = 0; j < problem->columns; j++) {
            double entry = problem->entry[i * problem->columns + j];
            if (entry != 0) {
                index[++used] = (int)j + 1;
                value[used] = entry;
            }
        }
        glp_set_mat_row(made, (int)i + 1, used, index, value);
    }
}

/* The simplex method may stall from one beginning, or ask for more than rounding allows, where another gets there. */
static bool solve(glp_prob *made)
{
    static const struct {
        bool advanced;
        double tolerance;
    } beginnings[] = {{true, 1e-9}, {false, 1e-9}, {true, 1e-7}, {false, 1e-6}};
    for (size_t i = 0; i < sizeof beginnings / sizeof beginnings[0]; i++) {
        glp_smcp control;
        glp_init_smcp(&control);
        control.msg_lev = GLP_MSG_OFF;
        control.tol_bnd = control.tol_dj = beginnings[i].tolerance;
        control.it_lim = ITERATIONS_MOST;
        if (beginnings[i].advanced)
            glp_adv_basis(made, 0);
        else
            glp_std_basis(made);
        if (glp_simplex(made, &control) == 0 && glp_get_status(made) == GLP_OPT)
            return true;
    }
    return false;
}

static bool is_sane(const lp_problem *problem)
{
    bool sane = problem->rows > 0 && problem->columns > 0 && problem->columns <= LP_COLUMNS_MAX;
    for (size_t i = 0; i < problem->rows * problem->columns && sane; i++)
        sane = isfinite(problem->entry[i]);
    for (size_t j = 0; j < problem->columns && sane; j++)
        sane = isfinite(problem->cost[j]);
    for (size_t i = 0; i < problem->rows && sane; i++)
        sane = isfinite(problem->bound[i]);
    return sane;
}

typedef struct lp_run {
    const lp_problem *problem;
    int index[LP_COLUMNS_MAX + 1]; /* of one row */
    double value[LP_COLUMNS_MAX + 1], *x, *dual, *least;
    bool solved;
} lp_run;

static void run_simplex(lp_run *run)
{
    const lp_problem *problem = run->problem;
    glp_prob *made = glp_create_prob();
    fill(made, problem, run->index, run->value);
    run->solved = solve(made);
    if (run->solved) {
        for (size_t j = 0; j < problem->columns; j++)
            run->x[j] = glp_get_col_prim(made, (int)j + 1);
        for (size_t i = 0; i < problem->rows && run->dual != NULL; i++)
            run->dual[i] = glp_get_row_dual(made, (int)i + 1);
        *run->least = glp_get_obj_val(made);
    }
    glp_delete_prob(made);
}

static bool guard_simplex(lp_run *run)
{
    jmp_buf back;
    if (setjmp(back) != 0) {
        glp_free_env();
        return false;
    }
    glp_term_out(GLP_OFF);
    glp_error_hook(leave, &back);
    run_simplex(run);
    glp_error_hook(NULL, NULL);
    return run->solved;
}

bool lp_solve(const lp_problem *problem, double *x, double *dual, double *least)
{
    if (!is_sane(problem))
        return false;
    lp_run run;
    run.problem = problem;
    run.x = x;
    run.dual = dual;
    run.least = least;
    run.solved = false;
    return guard_simplex(&run);
}
