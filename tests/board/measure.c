/* Measures the firmware at its pins, by the emulator's cycle counter, and kills its host.
 *
 *   measure FIRMWARE            every item; a line each: item, value, unit, limit, ok or FAILS
 *   measure FIRMWARE long       the same, with more steps and longer
 *   measure FIRMWARE PART       one part of it, by the name of its function
 *   measure FIRMWARE kills N    pump off after the last heartbeat, N times at random phases
 *
 * The emulator moves pins between instructions, so an edge is known to some 4 cycles (0.25 us). */
#include "emulator.h"

#include <math.h>
#include <simavr/sim_cycle_timers.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *firmware;
static int failures;
static bool thorough;

static void item(const char *name, double value, const char *unit, double limit) {
    bool ok = value <= limit;
    failures += !ok;
    printf("%-64s %12.5g %-8s at most %-10.5g %s\n", name, value, unit, limit, ok ? "ok" : "FAILS");
    fflush(stdout);
}

static void holds(const char *name, bool ok) {
    failures += !ok;
    printf("%-64s %12s %-8s %18s %s\n", name, "", "", "", ok ? "ok" : "FAILS");
    fflush(stdout);
}

/* The last line that starts with each letter, without its check sum. */
static char last[128][96];
static uint64_t last_at[128];
static unsigned wrong_sums, lines_seen;

static void on_line(struct emulator *e, const char *line, uint64_t cycle) {
    (void)e;
    char text[4096];
    strcpy(text, line);
    lines_seen++;
    if (!emulator_check(text)) {
        wrong_sums++;
        return;
    }
    unsigned key = (unsigned char)text[0] & 127;
    snprintf(last[key], sizeof last[key], "%s", text);
    last_at[key] = cycle;
}

static struct emulator *start(uint32_t seed) {
    memset(last, 0, sizeof last);
    struct emulator *e = emulator_new(firmware, seed);
    e->line = on_line;
    emulator_run_ms(e, 20);
    memset(e->latency_max, 0, sizeof e->latency_max);
    memset(e->pending, 0, sizeof e->pending);
    return e;
}

/* Sends a line and runs until it has been answered for sure. */
static const char *ask(struct emulator *e, const char *line) {
    last[(unsigned char)line[0]][0] = 0;
    last['E'][0] = 0;
    emulator_send(e, line);
    for (int i = 0; i < 60 && !last[(unsigned char)line[0]][0] && !last['E'][0]; i++) {
        emulator_run_ms(e, 1);
    }
    return last['E'][0] && line[0] != 'E' ? last['E'] : last[(unsigned char)line[0]];
}

/* Until all that was sent has been read and answered. */
static void settle(struct emulator *e) {
    while (e->in_tail != e->in_head) {
        emulator_run_ms(e, 1);
    }
    emulator_run_ms(e, 80);
}

static double number(const char *line, const char *name) {
    const char *at = strstr(line, name);
    return at ? atof(at + strlen(name)) : NAN;
}

/* Edges of the pins. */
#define EDGES 100000
static struct {
    uint64_t at;
    bool level;
} edges[PINS][EDGES];
static unsigned edge_count[PINS];

static void on_change(struct emulator *e, enum pin pin, bool level, uint64_t cycle) {
    (void)e;
    if (edge_count[pin] < EDGES) {
        edges[pin][edge_count[pin]].at = cycle;
        edges[pin][edge_count[pin]++].level = level;
    }
}

static void clear_edges(void) {
    memset(edge_count, 0, sizeof edge_count);
}

/* Mean duty and period from rising edge to rising edge; false without two. */
static bool duty_of(enum pin pin, double *duty, double *period) {
    unsigned first = 0, n = 0;
    while (first < edge_count[pin] && !edges[pin][first].level) {
        first++;
    }
    uint64_t high = 0;
    unsigned i = first;
    for (; i + 2 < edge_count[pin]; i += 2) {
        high += edges[pin][i + 1].at - edges[pin][i].at;
        n++;
    }
    if (!n) {
        return false;
    }
    double all = (double)(edges[pin][i].at - edges[pin][first].at);
    *duty = 100.0 * (double)high / all;
    *period = all / n;
    return true;
}

static void beat(struct emulator *e) {
    emulator_send(e, "B");
}

static void outputs_at_reset(void) {
    struct emulator *e = emulator_new(firmware, 1);
    e->line = on_line;
    e->changed = on_change;
    clear_edges();
    emulator_run_ms(e, 100);
    ask(e, "D 50");
    ask(e, "SRC CTRL");
    emulator_run_ms(e, 100);
    holds("from reset to ARM no output moves, a duty told before stays off",
          edge_count[PUMP] == 0 && edge_count[SOLENOID] == 0 && edge_count[SOURCE] == 0 && edge_count[TACH] == 0);
    holds("after reset both voltages are set to 0", e->code[0] == 0 && e->code[1] == 0 && e->code_at[1] > 0);
    holds("ARM begins with a duty of 0", !strcmp(ask(e, "ARM"), "ARM") && number(ask(e, "S?"), "duty=") == 0 && edge_count[PUMP] == 0);
    emulator_free(e);
}

static void pump(void) {
    struct emulator *e = start(2);
    e->changed = on_change;
    static const int frequencies[] = {1000, 2000, 4000};
    for (int f = 0; f < 3; f++) {
        char line[32], name[96];
        snprintf(line, sizeof line, "F %d", frequencies[f]);
        ask(e, "OFF");
        ask(e, line);
        ask(e, "ARM");
        double worst_duty = 0, worst_frequency = 0, worst_answer = 0;
        /* Every 1.7 %; the long form takes every step of 0.1 % at 1 kHz. */
        for (int tenths = 1; tenths < 1000; tenths += thorough && !f ? 1 : 17) {
            beat(e);
            snprintf(line, sizeof line, "D %d.%d", tenths / 10, tenths % 10);
            double set = number(ask(e, line), "D ");
            emulator_run_ms(e, 2);
            clear_edges();
            emulator_run_ms(e, 6);
            double duty = NAN, period = NAN;
            duty_of(PUMP, &duty, &period);
            worst_duty = fmax(worst_duty, fabs(duty - tenths / 10.0));
            worst_answer = fmax(worst_answer, fabs(duty - set));
            worst_frequency = fmax(worst_frequency, fabs((double)CYCLES_PER_S / period / frequencies[f] - 1) * 100);
            if (!(worst_duty < 1e9) || isnan(duty)) {
                worst_duty = 1e9;
            }
        }
        snprintf(name, sizeof name, "pump duty at %d Hz, 0.1 to 99.9 %%, largest error", frequencies[f]);
        item(name, worst_duty, "%", f == 2 ? 0.05 : 0.03);
        snprintf(name, sizeof name, "pump duty at %d Hz, answer against pin", frequencies[f]);
        item(name, worst_answer, "%", 0.05);
        snprintf(name, sizeof name, "pump frequency at %d Hz, largest error", frequencies[f]);
        item(name, worst_frequency, "%", 0.02);
    }
    beat(e);
    ask(e, "D 100");
    emulator_run_ms(e, 3);
    clear_edges();
    beat(e);
    emulator_run_ms(e, 100);
    holds("100 % is a level without a pulse", edge_count[PUMP] == 0 && e->level[PUMP]);
    beat(e);
    ask(e, "D 0");
    clear_edges();
    beat(e);
    emulator_run_ms(e, 100);
    holds("0 % is a level without a pulse", edge_count[PUMP] == 0 && !e->level[PUMP]);
    emulator_free(e);
}

static uint64_t steps_at[10000];
static uint16_t steps_code[10000];
static unsigned steps;

static void on_converted(struct emulator *e, int channel, uint16_t code, uint64_t cycle) {
    (void)e;
    if (channel == 0 && steps < 10000) {
        steps_at[steps] = cycle;
        steps_code[steps++] = code;
    }
}

static void ramps(void) {
    struct emulator *e = start(3);
    ask(e, "ARM");
    ask(e, "N 600");
    ask(e, "U1 0.5");
    emulator_run_ms(e, 20);
    steps = 0;
    e->converted = on_converted;
    ask(e, "U1 4.5 1000");
    emulator_run_ms(e, 1100);
    holds("a ramp ends at its end", e->code[0] == (uint16_t)lround(4.5 / 5 * 4096));
    double grid_low = 1e9, grid_high = -1e9, off_line = 0;
    if (steps < 100) {
        holds("a ramp moves", false);
        emulator_free(e);
        return;
    }
    uint64_t t0 = steps_at[0];
    for (unsigned i = 0; i < steps; i++) {
        double ms = (double)(steps_at[i] - t0) / CYCLES_PER_MS;
        double late = ms - round(ms);
        grid_low = fmin(grid_low, late);
        grid_high = fmax(grid_high, late);
        /* The first step comes 1 ms into the ramp. */
        double ideal = 4096 * (0.5 + 4.0 * (round(ms) + 1) / 1000) / 5;
        off_line = fmax(off_line, fabs(steps_code[i] - ideal));
    }
    item("ramp of 4 V in 1 s: jitter of its steps", (grid_high - grid_low) * 1000, "us", 100);
    item("ramp of 4 V in 1 s: off the line", off_line * 5000 / 4096, "mV", 1.3);
    item("ramp of 4 V in 1 s: time it takes, error", fabs((double)(steps_at[steps - 1] - t0) / CYCLES_PER_MS - 999), "ms", 0.1);
    double worst = 0;
    for (int mv = 0; mv <= 5000; mv += 125) {
        char line[32];
        snprintf(line, sizeof line, "U2 %d.%03d", mv / 1000, mv % 1000);
        double answered = number(ask(e, line), "U2 ");
        emulator_run_ms(e, 3);
        double volts = e->code[1] * 5.0 / 4096;
        worst = fmax(worst, fmax(fabs(volts - mv / 1000.0), fabs(volts - answered)));
    }
    item("sensor voltage, code against set and answered, 0 to 5 V", worst * 1000, "mV", 1.23);
    emulator_free(e);
}

/* A signal at the capture input, exact to the cycle. */
static struct {
    uint64_t high, low, next;
    bool level, running;
} generator;

static avr_cycle_count_t generate(avr_t *avr, avr_cycle_count_t when, void *param) {
    (void)avr;
    struct emulator *e = param;
    generator.level = !generator.level;
    emulator_input(e, 'B', 0, generator.level);
    return when + (generator.level ? generator.high : generator.low);
}

static void captures(void) {
    struct emulator *e = start(4);
    ask(e, "ARM");
    ask(e, "N 597.3");
    ask(e, "U1 5 20000");
    static const double hz[] = {10, 25, 100, 237.7, 500, 1000};
    static const double duties[] = {1, 5, 12.3, 50, 87.7, 95, 99};
    char name[96];
    for (unsigned f = 0; f < sizeof hz / sizeof *hz; f++) {
        double worst_duty = 0, worst_hz = 0;
        unsigned n = 0;
        for (unsigned d = 0; d < sizeof duties / sizeof *duties; d++) {
            uint64_t period = (uint64_t)llround(CYCLES_PER_S / hz[f]);
            generator.high = (uint64_t)llround((double)period * duties[d] / 100);
            generator.low = period - generator.high;
            if (generator.high < 640 || generator.low < 640) {
                continue; /* 40 us: measured below */
            }
            avr_cycle_timer_register(e->avr, 1000, generate, e);
            for (int i = 0; i < (hz[f] < 100 ? 8 : 4); i++) {
                beat(e);
                emulator_run_ms(e, 100);
            }
            double duty = number(last['C'], "duty="), frequency = number(last['C'], "hz=");
            double true_duty = 100.0 * (double)generator.high / (double)period;
            worst_duty = fmax(worst_duty, isnan(duty) ? 1e9 : fabs(duty - true_duty));
            worst_hz = fmax(worst_hz, isnan(frequency) ? 1e9 : fabs(frequency * (double)period / CYCLES_PER_S - 1) * 100);
            n++;
            avr_cycle_timer_cancel(e->avr, generate, e);
        }
        snprintf(name, sizeof name, "captured duty at %.1f Hz, %u duties, largest error", hz[f], n);
        item(name, worst_duty, "%", 0.1);
        snprintf(name, sizeof name, "captured frequency at %.1f Hz, largest error", hz[f]);
        item(name, worst_hz, "%", 0.1);
    }
    for (int level = 0; level < 2; level++) {
        emulator_input(e, 'B', 0, level);
        generator.level = level;
        for (int i = 0; i < 6; i++) {
            beat(e);
            emulator_run_ms(e, 100);
        }
        snprintf(name, sizeof name, "a controller at %d %% reads %d %% and 0 Hz", level * 100, level * 100);
        holds(name, number(last['C'], "duty=") == level * 100 && number(last['C'], "hz=") == 0);
    }
    /* The shortest pulse that is always measured. */
    double shortest = NAN;
    for (int us = 4; us <= 60; us += 2) {
        generator.high = (uint64_t)us * 16;
        generator.low = 16003 - generator.high;
        avr_cycle_timer_register(e->avr, 1000, generate, e);
        double missed = 0;
        unsigned bad = 0;
        for (int i = 0; i < (thorough ? 10 : 4); i++) {
            beat(e);
            emulator_run_ms(e, 100);
            missed += number(last['C'], "missed=");
            bad += !(fabs(number(last['C'], "duty=") - us / 10.0) < 0.1);
        }
        avr_cycle_timer_cancel(e->avr, generate, e);
        if (missed == 0 && bad == 0) {
            shortest = us;
            break;
        }
    }
    item("shortest pulse that is measured, all else busy", isnan(shortest) ? 1e9 : shortest, "us", 40);
    emulator_free(e);
}

static void tach(void) {
    struct emulator *e = start(5);
    e->changed = on_change;
    ask(e, "U1 5 20000");
    static const double hz[] = {5, 33.333, 100, 257.131, 600};
    char line[32], name[96];
    double worst_hz = 0, worst_edge = 0;
    for (unsigned f = 0; f < 5; f++) {
        snprintf(line, sizeof line, "N %.3f", hz[f]);
        ask(e, line);
        emulator_run_ms(e, 250);
        clear_edges();
        emulator_run_ms(e, thorough ? 4000 : 1500);
        unsigned n = edge_count[TACH] - 1;
        double half = (double)(edges[TACH][n].at - edges[TACH][0].at) / n;
        double ideal = CYCLES_PER_S / hz[f] / 2;
        /* Over an even number of halves, so that rounding of one edge is all that is left. */
        worst_hz = fmax(worst_hz, fabs(ideal / half - 1) * 1e6);
        for (unsigned i = 1; i <= n; i++) {
            worst_edge = fmax(worst_edge, fabs((double)(edges[TACH][i].at - edges[TACH][i - 1].at) - ideal));
        }
    }
    item("engine speed, 5 to 600 Hz, mean over some seconds, largest error", worst_hz, "ppm", 10);
    item("engine speed, 5 to 600 Hz, half a period against ideal", worst_edge / 16, "us", 1.2);
    /* Changes at random phase: a half period lies between those of the two speeds. */
    double outside = 0;
    double from = 600;
    for (int i = 0; i < (thorough ? 60 : 12); i++) {
        double to = 5 + floor(emulator_uniform(e) * 595e3) / 1e3;
        emulator_run_ms(e, emulator_uniform(e) * 20);
        clear_edges();
        snprintf(line, sizeof line, "N %.3f", to);
        ask(e, line);
        emulator_run_ms(e, 2200 / fmin(from, to) + 10);
        double a = CYCLES_PER_S / from / 2, b = CYCLES_PER_S / to / 2;
        for (unsigned k = 1; k < edge_count[TACH]; k++) {
            double half = (double)(edges[TACH][k].at - edges[TACH][k - 1].at);
            outside = fmax(outside, fmax(fmin(a, b) - half, half - fmax(a, b)));
        }
        from = to;
    }
    snprintf(name, sizeof name, "engine speed changed: a half period outside the two speeds");
    item(name, outside / 16, "us", 1.2);
    emulator_free(e);
}

static void analogue(void) {
    struct emulator *e = start(6);
    ask(e, "ARM");
    beat(e);
    double worst = 0;
    for (int i = 1; i < 20; i += thorough ? 1 : 6) {
        for (int c = 0; c < 4; c++) {
            e->volts[c] = 0.25 * i - 0.03 * c;
        }
        emulator_run_ms(e, 250);
        const double read[4] = {number(last['P'], "v="), number(last['A'], "v1="), number(last['A'], "v2="), number(last['A'], "v3=")};
        for (int c = 0; c < 4; c++) {
            /* The emulator's converter has 1023 steps and cuts off; what is left is the mean's own error. */
            double cut = (e->volts[c] * 1023 / 5 - 0.5) * 5 / 1024;
            worst = fmax(worst, isnan(read[c]) ? 1e9 : fabs(read[c] - cut));
        }
    }
    item("analogue means, four inputs, 0.2 to 4.8 V", worst * 1000, "mV", 2);
    emulator_free(e);
}

static void ripple_sampled(struct emulator *e) {
    e->volts[0] = 1.0 + (e->level[PUMP] ? 2.0 : 0.0);
    e->volts[2] = e->volts[0];
}

static void ripple(void) {
    struct emulator *e = start(7);
    e->sampled = ripple_sampled;
    double worst = 0;
    ask(e, "ARM");
    static const double duties[] = {10, 30, 50, 70, 90};
    for (int d = 0; d < 5; d++) {
        char line[32];
        snprintf(line, sizeof line, "D %.1f", duties[d]);
        beat(e);
        ask(e, line);
        for (int i = 0; i < 4; i++) {
            beat(e);
            emulator_run_ms(e, 100);
        }
        double cut = ((1.0 + duties[d] / 50) * 1023 / 5 - 0.5) * 5 / 1024;
        worst = fmax(worst, fmax(fabs(number(last['P'], "v=") - cut), fabs(number(last['A'], "v2=") - cut)));
    }
    /* One sample of 125 more or less on either side of the edge is 16 mV. */
    item("mean of 2 V of ripple at the pump's frequency, largest error", worst * 1000, "mV", 20);
    emulator_free(e);
}

static void cell(void) {
    struct emulator *e = start(8);
    static const int32_t counts[] = {0, 1, -1, 8388607, -8388608, 1234567, -7654321};
    bool right = true;
    e->cell_due = 0;
    for (int i = 0; i < 7; i++) {
        e->cell = counts[i];
        emulator_run_ms(e, 60);
        right &= (int32_t)number(last['W'], "counts=") == counts[i] && last['W'][0];
    }
    holds("load cell: 24 bits with sign, seven values", right);
    emulator_free(e);
}

static void contacts(void) {
    struct emulator *e = start(9);
    double offset = NAN, worst = 0, drift = 0;
    unsigned edges_told = 0;
    bool level = true;
    ask(e, "ARM");
    ask(e, "N 600");
    ask(e, "U1 5 60000");
    unsigned count = thorough ? 120 : 30;
    for (unsigned i = 0; i < count; i++) {
        beat(e);
        emulator_run_ms(e, 400 + emulator_uniform(e) * 50);
        last['I'][0] = 0;
        uint64_t at = e->avr->cycle;
        level = !level;
        /* Bounce for up to 3 ms. */
        emulator_input(e, 'C', 4, level);
        for (int b = 0; b < 6; b++) {
            emulator_run_ms(e, 0.05 + emulator_uniform(e) * 0.2);
            emulator_input(e, 'C', 4, !level);
            emulator_run_ms(e, 0.05 + emulator_uniform(e) * 0.2);
            emulator_input(e, 'C', 4, level);
        }
        emulator_run_ms(e, 40);
        if (!last['I'][0] || number(last['I'], "level=") != level || number(last['I'], "input=") != 1) {
            continue;
        }
        edges_told++;
        double late = number(last['I'], "t=") - (double)at / CYCLES_PER_MS;
        if (isnan(offset)) {
            offset = late;
        }
        worst = fmax(worst, fabs(late - offset));
        drift = late - offset;
    }
    item("bouncing edges not told, or told wrongly", (double)count - edges_told, "", 0);
    item("time stamps of edges, against cycles", worst * 1000, "us", 60);
    item("drift of time stamps", fabs(drift) * 1e6 / (count * 465.0), "ppm", 2);
    last['I'][0] = 0;
    emulator_input(e, 'C', 4, !level);
    emulator_run_ms(e, 2);
    emulator_input(e, 'C', 4, level);
    emulator_run_ms(e, 60);
    holds("a glitch of 2 ms is no edge", !last['I'][0]);
    emulator_free(e);
}

static void stop(void) {
    struct emulator *e = start(10);
    e->changed = on_change;
    double worst = 0;
    bool latched = true;
    for (int i = 0; i < 20; i++) {
        ask(e, "ARM");
        ask(e, i % 2 ? "D 100" : "D 40");
        beat(e);
        emulator_run_ms(e, 5 + emulator_uniform(e) * 3);
        uint64_t at = e->avr->cycle;
        emulator_input(e, 'D', 2, true);
        emulator_run_ms(e, 30);
        latched &= !e->level[PUMP] && number(ask(e, "S?"), "estop=") == 1 && !strcmp(ask(e, "ARM"), "E stop");
        if (e->since[PUMP] > at) {
            worst = fmax(worst, (double)(e->since[PUMP] - at) / CYCLES_PER_MS);
        }
        emulator_input(e, 'D', 2, false);
        beat(e);
        clear_edges();
        emulator_run_ms(e, 30);
        ask(e, "D 50");
        latched &= edge_count[PUMP] == 0 && !e->level[PUMP];
    }
    item("emergency stop to pump off, by the firmware, 20 times", worst, "ms", 2);
    holds("it is reported, refuses ARM, and its release switches nothing on", latched);
    emulator_free(e);
}

static void flood(void) {
    struct emulator *e = start(11);
    e->changed = on_change;
    /* Garbage alone, before ARM: nothing moves. */
    for (int i = 0; i < (thorough ? 60 : 12); i++) {
        uint8_t bytes[1000];
        for (int b = 0; b < 1000; b++) {
            bytes[b] = (uint8_t)(emulator_uniform(e) * 256);
        }
        emulator_bytes(e, bytes, 1000);
        emulator_run_ms(e, 182);
    }
    holds("a flood of garbage: no output moves", edge_count[PUMP] == 0 && edge_count[SOLENOID] == 0 && edge_count[SOURCE] == 0);
    emulator_bytes(e, (const uint8_t *)"\n", 1);
    settle(e);
    holds("after it the board answers", !strcmp(ask(e, "ID?"), "ID dutycup-board 1.0"));
    /* Right lines with one byte changed. */
    unsigned taken = 0;
    ask(e, "ARM");
    ask(e, "D 0");
    for (int at = 0; at < 7; at++) {
        for (int bit = 0; bit < 8; bit++) {
            uint8_t bytes[16];
            unsigned before = e->in_head;
            emulator_send(e, "D 55.0");
            unsigned n = 0;
            for (unsigned i = before; i != e->in_head; i = (i + 1) % sizeof e->in) {
                bytes[n++] = e->in[i];
            }
            e->in_head = before;
            bytes[at] ^= (uint8_t)(1 << bit);
            emulator_bytes(e, bytes, n);
            emulator_bytes(e, (const uint8_t *)"\n", 1);
            beat(e);
            settle(e);
            double duty = number(ask(e, "S?"), "duty=");
            taken += e->level[PUMP] || !(duty == 0);
        }
    }
    item("lines with one bit changed that were taken, of 56", taken, "", 0);
    /* A flood while on: the heartbeat is lost in it, and the pump goes off in time. */
    double worst = 0;
    bool stays = true;
    for (int i = 0; i < 6; i++) {
        ask(e, "ARM");
        ask(e, "D 50");
        beat(e);
        emulator_run_ms(e, 10);
        uint64_t at = e->avr->cycle;
        for (int b = 0; b < 8; b++) {
            uint8_t bytes[700];
            for (int k = 0; k < 700; k++) {
                bytes[k] = (uint8_t)(b % 2 ? "B\n*"[k % 3] : emulator_uniform(e) * 256);
            }
            emulator_bytes(e, bytes, 700);
            emulator_run_ms(e, 126);
        }
        settle(e);
        stays &= !e->level[PUMP];
        worst = fmax(worst, (double)(e->since[PUMP] - at) / CYCLES_PER_MS);
        emulator_bytes(e, (const uint8_t *)"\n", 1);
        settle(e);
    }
    item("flood without a heartbeat: pump off after, 6 times", worst, "ms", 500);
    holds("and it stays off", stays);
    /* Answers have no room: a host that asks without end is served, heartbeats count. */
    ask(e, "ARM");
    ask(e, "D 50");
    for (int i = 0; i < 30; i++) {
        for (int k = 0; k < 20; k++) {
            emulator_send(e, "S?");
        }
        beat(e);
        emulator_run_ms(e, 24);
    }
    clear_edges();
    beat(e);
    emulator_run_ms(e, 20);
    holds("a flood of questions with heartbeats leaves the pump on", edge_count[PUMP] > 10);
    ask(e, "OFF");
    emulator_run_ms(e, 200);
    printf("# after the flood: %s\n", ask(e, "T?"));
    emulator_free(e);
}

static void stuck(void) {
    static const char *const kinds[] = {"main loop stuck, tick alive", "everything stuck, interrupts off", "tick stopped, main loop alive"};
    for (int kind = 0; kind < 3; kind++) {
        struct emulator *e = start(12 + (uint32_t)kind);
        ask(e, "ARM");
        ask(e, "D 100");
        beat(e);
        emulator_run_ms(e, 20 + emulator_uniform(e) * 3);
        bool was_on = e->level[PUMP];
        /* In the main loop, not in an interrupt: the return address of words_stream and words_poll is on the stack. */
        while (!e->avr->sreg[7]) {
            avr_run(e->avr);
        }
        uint64_t at = e->avr->cycle;
        if (kind == 2) {
            e->avr->data[0x70] = 0; /* TIMSK2 */
        } else {
            uint32_t pc = e->avr->pc;
            if (kind == 1) {
                e->avr->sreg[7] = 0;
            }
            e->avr->flash[pc] = 0xff; /* rjmp to itself */
            e->avr->flash[pc + 1] = 0xcf;
        }
        double on_for = NAN;
        for (int ms = 0; ms < 600 && e->level[PUMP]; ms++) {
            if (kind == 0) {
                beat(e);
            }
            emulator_run_ms(e, 1);
            /* A reset makes every pin an input: the gate's resistor holds it low. */
            if (!(e->avr->data[0x24] & 4)) {
                on_for = (double)(e->avr->cycle - at) / CYCLES_PER_MS;
                break;
            }
        }
        if (isnan(on_for) && !e->level[PUMP]) {
            on_for = (double)(e->since[PUMP] - at) / CYCLES_PER_MS;
        }
        char name[96];
        snprintf(name, sizeof name, "%s: pump off after", kinds[kind]);
        item(name, isnan(on_for) || !was_on ? 1e9 : on_for, "ms", 500);
        emulator_free(e);
    }
}

static void latency(void) {
    struct emulator *e = start(20);
    ask(e, "ARM");
    ask(e, "N 600");
    ask(e, "U1 5 3000");
    ask(e, "U2 5 3000");
    ask(e, "D 37.3");
    e->cell_due = 0;
    generator.high = 5000;
    generator.low = 3001;
    avr_cycle_timer_register(e->avr, 1000, generate, e);
    for (int i = 0; i < 30; i++) {
        beat(e);
        emulator_send(e, "S?");
        emulator_send(e, "L?");
        emulator_send(e, "T?");
        emulator_run_ms(e, 100);
        emulator_input(e, 'C', 4, i & 1);
    }
    static const struct {
        int vector;
        const char *name;
        double limit;
    } vectors[] = {{4, "on/off input", 40}, {7, "tick", 40}, {10, "capture", 40}, {13, "capture overflow", 40}, {15, "engine speed, first half", 60}, {16, "engine speed, second half", 60}, {18, "byte received", 150}, {21, "analogue", 60}};
    for (unsigned i = 0; i < sizeof vectors / sizeof *vectors; i++) {
        char name[96];
        snprintf(name, sizeof name, "longest wait of the interrupt: %s", vectors[i].name);
        item(name, (double)e->latency_max[vectors[i].vector] / 16, "us", vectors[i].limit);
    }
    printf("# after all of it: %s\n", ask(e, "T?"));
    double left = number(last['T'], "stack=");
    item("stack and variables used, of 2048 bytes", 2048 - left, "bytes", 1536);
    emulator_free(e);
}

static int kills(unsigned n) {
    double worst = 0, least = 1e9;
    unsigned late = 0;
    for (unsigned i = 0; i < n; i++) {
        struct emulator *e = start(1000 + i);
        char line[32];
        emulator_run_ms(e, emulator_uniform(e) * 30);
        ask(e, "ARM");
        double duty = i % 4 == 0 ? 100 : 1 + emulator_uniform(e) * 98;
        snprintf(line, sizeof line, "D %.1f", duty);
        ask(e, line);
        if (i % 3 == 0) {
            ask(e, "N 600");
            ask(e, "U1 5 400");
        }
        e->cell_due = 0;
        int beats = 1 + (int)(emulator_uniform(e) * 3);
        for (int b = 0; b < beats; b++) {
            emulator_run_ms(e, 80 + emulator_uniform(e) * 40);
            beat(e);
            if (i % 2) {
                emulator_send(e, "S?");
            }
        }
        /* The host dies: up to some bytes into its next line. */
        uint64_t at = 0;
        while (e->in_tail != e->in_head) {
            emulator_run_ms(e, 0.01);
            /* The heartbeat's line end, when it is the last or before a question. */
            if (e->in[(e->in_tail + sizeof e->in - 1) % sizeof e->in] == '\n' && e->in[(e->in_tail + sizeof e->in - 5) % sizeof e->in] == 'B') {
                at = e->last_in;
            }
        }
        if (i % 5 == 0) {
            emulator_bytes(e, (const uint8_t *)"B*1", (unsigned)(emulator_uniform(e) * 4));
        }
        emulator_run_ms(e, 620);
        double on = (double)(e->since[PUMP] - at) / CYCLES_PER_MS;
        if (at == 0 || e->level[PUMP] || e->since[PUMP] < at || on > 500) {
            late++;
            printf("kill %u (seed %u): duty %.1f, off after %.3f ms, level %d\n", i, 1000 + i, duty, on, e->level[PUMP]);
        }
        worst = fmax(worst, on);
        least = fmin(least, on);
        emulator_free(e);
    }
    printf("%u kills: pump off between %.3f and %.3f ms after the last heartbeat, %u later than 500 ms\n", n, least, worst, late);
    return late != 0;
}

int main(int argc, char **argv) {
    if (argc < 2) {
        fprintf(stderr, "measure FIRMWARE [kills N]\n");
        return 2;
    }
    firmware = argv[1];
    if (argc == 4 && !strcmp(argv[2], "kills")) {
        return kills((unsigned)atoi(argv[3]));
    }
    thorough = argc == 3 && !strcmp(argv[2], "long");
    bool all = argc < 3 || thorough;
    static const struct {
        const char *name;
        void (*run)(void);
    } parts[] = {{"outputs_at_reset", outputs_at_reset}, {"pump", pump}, {"ramps", ramps}, {"captures", captures}, {"tach", tach}, {"analogue", analogue}, {"ripple", ripple}, {"cell", cell}, {"contacts", contacts}, {"stop", stop}, {"flood", flood}, {"stuck", stuck}, {"latency", latency}};
    for (unsigned i = 0; i < sizeof parts / sizeof *parts; i++) {
        if (all || !strcmp(argv[2], parts[i].name)) {
            parts[i].run();
        }
    }
    item("lines of the board with a wrong check sum", wrong_sums, "", 0);
    printf("%d of the items failed; %u lines read\n", failures, lines_seen);
    return failures != 0;
}
