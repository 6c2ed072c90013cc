/* Pump, line, nozzle, cup, switch: a small plant of its own, in SI-like units of the trade. Shares nothing with the
 * program's virtual bench or its analysis. */
#ifndef PLANT_H
#define PLANT_H

#include <stdbool.h>

struct plant {
    double supply_v; /* without load */
    double motor_v;  /* what the motor sees behind winding and wiring, mean over some ms */
    double line_kpa;
    double cup_g;
    double flow_ml_min;
    bool switch_closed;
};

void plant_init(struct plant *);
/* `on` is the share of `dt_s` in which the pump output was on. */
void plant_step(struct plant *, double on, bool solenoid, double dt_s);
double plant_terminal_v(const struct plant *, double on);

/* What the analysis is to find. */
double plant_nozzle_k(void);          /* mL/min per root of kPa */
double plant_steady_flow(double duty); /* mL/min, duty 0 to 1 */

#endif
