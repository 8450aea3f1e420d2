/** \file quell.h — everything, stage by stage, in the order of the pipeline. */
#ifndef QUELL_QUELL_H
#define QUELL_QUELL_H

#include "quell/base.h"
#include "quell/motion.h"
#include "quell/ingest.h"
#include "quell/spectrum.h"
#include "quell/shaping.h"
#include "quell/modes.h"
#include "quell/predict.h"
#include "quell/simulate.h"
#include "quell/choose.h"
#include "quell/compare.h"
#include "quell/report.h"

#endif
