#include "plant.h"

#include <math.h>

/* Nozzle of 10 US gal/h at 100 psi (630.9 mL/min at 689.5 kPa: 24.03), a little on the rich side. */
#define NOZZLE_K 24.31
#define PUMP_ML_PER_V 82.0   /* mL/min per volt at the motor */
#define PUMP_FRICTION_V 1.15
#define PUMP_SLIP 0.42       /* mL/min per kPa */
#define DIODE_V 0.62
#define WIRING_OHM 0.045
#define AMPERE_PER_V 0.42    /* load grows with the motor's voltage */
#define MOTOR_TAU_S 0.060
#define LINE_ML_PER_KPA 0.0025
#define CHECK_KPA 20.0
#define DENSITY 0.99821      /* g/mL, water at 20 degC */
#define BUOYANCY 1.00105
#define SWITCH_KPA 206.8     /* 30 psi */
#define SWITCH_RESET_KPA 185.0

double plant_nozzle_k(void) {
    return NOZZLE_K;
}

void plant_init(struct plant *p) {
    *p = (struct plant){.supply_v = 13.8};
}

double plant_terminal_v(const struct plant *p, double on) {
    return p->supply_v - WIRING_OHM * AMPERE_PER_V * p->motor_v * on;
}

void plant_step(struct plant *p, double on, bool solenoid, double dt_s) {
    double drive = on * plant_terminal_v(p, on) - (1 - on) * DIODE_V;
    if (drive < 0) {
        drive = 0;
    }
    p->motor_v += (drive - p->motor_v) * (1 - exp(-dt_s / MOTOR_TAU_S));
    double pump = PUMP_ML_PER_V * (p->motor_v - PUMP_FRICTION_V) - PUMP_SLIP * (p->line_kpa + CHECK_KPA);
    pump = pump > 0 ? pump : 0; /* the check valve lets nothing back */
    /* The nozzle in small steps: near zero pressure the root is steep. */
    double left = dt_s, sprayed = 0;
    while (left > 1e-9) {
        double h = left < 1e-4 ? left : 1e-4;
        double out = solenoid && p->line_kpa > 0 ? NOZZLE_K * sqrt(p->line_kpa) : 0;
        double change = (pump - out) / 60 * h / LINE_ML_PER_KPA;
        if (p->line_kpa + change < 0) {
            change = -p->line_kpa;
        }
        p->line_kpa += change;
        sprayed += out / 60 * h;
        left -= h;
    }
    p->flow_ml_min = sprayed * 60 / dt_s;
    p->cup_g += sprayed * DENSITY / BUOYANCY;
    p->switch_closed = p->line_kpa > (p->switch_closed ? SWITCH_RESET_KPA : SWITCH_KPA);
}

double plant_steady_flow(double duty) {
    struct plant p;
    plant_init(&p);
    double mean = 0;
    for (int ms = 0; ms < 6000; ms++) {
        plant_step(&p, duty, true, 0.001);
        mean += ms >= 5000 ? p.flow_ml_min / 1000 : 0;
    }
    return mean;
}
