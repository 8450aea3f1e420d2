/* Seeded random numbers: GSL's mt19937 behind two calls. */
#include "quell/base.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

struct quell_random {
    gsl_rng *generator;
};

quell_random *quell_random_create(uint64_t seed)
{
    quell_random *random = quell_memory_get(sizeof *random);
    if (random == NULL)
        return NULL;
    random->generator = gsl_rng_alloc(gsl_rng_mt19937);
    if (random->generator == NULL) {
        quell_memory_free(random);
        return NULL;
    }
    /* the generator takes 32 bits; Knuth's multiplier spreads the upper ones over them */
    gsl_rng_set(random->generator, (uint32_t)seed ^ (uint32_t)((seed >> 32) * 0x9e3779b9u));
    return random;
}

void quell_random_destroy(quell_random *random)
{
    if (random == NULL)
        return;
    gsl_rng_free(random->generator);
    quell_memory_free(random);
}

double quell_random_uniform(quell_random *random)
{
    return gsl_rng_uniform(random->generator);
}

double quell_random_normal(quell_random *random)
{
    return gsl_ran_gaussian_ziggurat(random->generator, 1.0);
}
