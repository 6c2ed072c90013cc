/* Serves the emulated board on a pseudo-terminal at real time, its pins wired to the plant, until a signal.
 *
 *   serve FIRMWARE LINK [SEED]   LINK names the terminal
 *   serve truth DUTY...          K of the plant's nozzle and its steady flow at each duty, %
 *
 * Wired: pump output to the motor and back to the controller's input (loop-back), solenoid to the nozzle, input 1 to
 * a pressure switch that closes to ground, analogue 0 to a transmitter of 0.5 to 4.5 V for 0 to 300 psi, analogue 1
 * to the supply by a divider of 4, analogue 2 and 3 to the two sensor voltages, the load-cell amplifier to the cup:
 * 1000 counts a gram from 12345. At the end a line of JSON: what the pins did. */
#define _GNU_SOURCE
#include "emulator.h"
#include "plant.h"

#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static volatile sig_atomic_t ended;
static int terminal;
static struct plant plant;
static uint64_t last_beat, longest_on, dropped;

static void on_signal(int signal) {
    (void)signal;
    ended = 1;
}

static void from_board(struct emulator *e, uint8_t byte) {
    (void)e;
    /* A host that does not read loses bytes, as on a real line. */
    if (write(terminal, &byte, 1) != 1) {
        dropped++;
    }
}

static double now_s(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static double gauss(struct emulator *e) {
    double sum = 0;
    for (int i = 0; i < 12; i++) {
        sum += emulator_uniform(e);
    }
    return sum - 6;
}

static void loop_back(struct emulator *e, enum pin pin, bool level, uint64_t cycle) {
    (void)cycle;
    if (pin == PUMP) {
        emulator_input(e, 'B', 0, level);
    }
}

static bool beat_in(const uint8_t *bytes, ssize_t n) {
    return memmem(bytes, (size_t)n, "B*", 2) != NULL;
}

static int serve(const char *firmware, const char *link_path, uint32_t seed) {
    terminal = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK);
    if (terminal < 0 || grantpt(terminal) || unlockpt(terminal)) {
        perror("pseudo-terminal");
        return 1;
    }
    const char *name = ptsname(terminal);
    /* Held open, so that the line stays when a program closes it; raw, as a serial line is. */
    int held = open(name, O_RDWR | O_NOCTTY);
    struct termios raw;
    tcgetattr(held, &raw);
    cfmakeraw(&raw);
    tcsetattr(held, TCSANOW, &raw);
    unlink(link_path);
    if (symlink(name, link_path)) {
        perror(link_path);
        return 1;
    }
    signal(SIGINT, on_signal);
    signal(SIGTERM, on_signal);

    struct emulator *e = emulator_new(firmware, seed);
    e->byte = from_board;
    e->changed = loop_back;
    plant_init(&plant);
    e->cell_due = 0;
    double start = now_s();
    uint64_t ms = 0, behind_max = 0;
    while (!ended) {
        uint8_t bytes[512];
        ssize_t n = read(terminal, bytes, sizeof bytes);
        if (n > 0) {
            emulator_bytes(e, bytes, (unsigned)n);
            if (beat_in(bytes, n)) {
                last_beat = ms;
            }
        }
        uint64_t on_before = e->on_cycles + (e->level[PUMP] ? e->avr->cycle - e->since[PUMP] : 0);
        emulator_run_to(e, (ms + 1) * CYCLES_PER_MS);
        uint64_t on_after = e->on_cycles + (e->level[PUMP] ? e->avr->cycle - e->since[PUMP] : 0);
        double on = (double)(on_after - on_before) / CYCLES_PER_MS;
        on = on < 0 ? 0 : on > 1 ? 1 : on;
        if (on > 0 && ms - last_beat > longest_on) {
            longest_on = ms - last_beat;
        }
        bool was_closed = plant.switch_closed;
        plant_step(&plant, on, e->level[SOLENOID], 0.001);
        if (was_closed != plant.switch_closed) {
            emulator_input(e, 'C', 4, !plant.switch_closed);
        }
        e->volts[0] = 0.5 + 4 * plant.line_kpa / 2068.43 + 0.002 * gauss(e);
        e->volts[1] = plant_terminal_v(&plant, on) / 4 + 0.001 * gauss(e);
        e->volts[2] = e->code[0] * 5.0 / 4096;
        e->volts[3] = e->code[1] * 5.0 / 4096;
        e->cell = 12345 + (int32_t)lround(plant.cup_g * 1000 + 30 * gauss(e));
        ms++;
        double ahead = start + (double)ms / 1000 - now_s();
        if (ahead > 0) {
            usleep((useconds_t)(ahead * 1e6));
        } else if ((uint64_t)(-ahead * 1000) > behind_max) {
            behind_max = (uint64_t)(-ahead * 1000);
        }
    }
    printf("{\"longest_on_after_last_heartbeat_ms\": %llu, \"pump_on\": %s, \"cup_g\": %.2f, \"dropped_bytes\": %llu, \"behind_ms\": %llu}\n",
           (unsigned long long)longest_on, e->level[PUMP] ? "true" : "false", plant.cup_g, (unsigned long long)dropped,
           (unsigned long long)behind_max);
    unlink(link_path);
    close(held);
    emulator_free(e);
    return 0;
}

int main(int argc, char **argv) {
    if (argc >= 2 && !strcmp(argv[1], "truth")) {
        printf("k %.6f\n", plant_nozzle_k());
        for (int i = 2; i < argc; i++) {
            printf("%s %.4f\n", argv[i], plant_steady_flow(atof(argv[i]) / 100));
        }
        return 0;
    }
    if (argc < 3) {
        fprintf(stderr, "serve FIRMWARE LINK [SEED], or serve truth DUTY...\n");
        return 2;
    }
    return serve(argv[1], argv[2], argc > 3 ? (uint32_t)atoi(argv[3]) : 1);
}
