/* The board under libsimavr: its firmware, its pins, its serial line, and cycles. */
#ifndef EMULATOR_H
#define EMULATOR_H

#include <simavr/avr_ioport.h>
#include <simavr/sim_avr.h>
#include <stdbool.h>
#include <stdint.h>

#define CYCLES_PER_S 16000000ULL
#define CYCLES_PER_MS 16000ULL

enum pin { PUMP, SOLENOID, SOURCE, TACH, PINS };

struct emulator {
    avr_t *avr;
    bool level[PINS];
    uint64_t since[PINS];     /* cycle of the last change */
    uint64_t on_cycles;       /* of the pump, up to `since` */
    void (*changed)(struct emulator *, enum pin, bool level, uint64_t cycle);
    uint16_t code[2];         /* of the voltage converter */
    uint64_t code_at[2];
    void (*converted)(struct emulator *, int channel, uint16_t code, uint64_t cycle);
    double volts[4];          /* at the analogue inputs, when a conversion starts */
    void (*sampled)(struct emulator *);
    int32_t cell;             /* counts of the load-cell amplifier's next value */
    uint64_t cell_due, cell_every;
    uint64_t latency_max[32]; /* from pending to running, by vector, cycles */
    uint64_t pending[32];
    uint32_t resets;
    char out[4096];           /* what the board sent, the start of a line last */
    unsigned out_used;
    void (*line)(struct emulator *, const char *line, uint64_t cycle);
    void (*byte)(struct emulator *, uint8_t byte);
    uint8_t in[8192];         /* to be sent to the board, one byte a byte's time */
    unsigned in_head, in_tail;
    uint64_t in_next;
    uint64_t last_in;         /* cycle at which the last byte began to be read */
    /* private to emulator.c */
    uint32_t noise;
    uint8_t outside[3], driven[3];
    avr_irq_t *adc;
    unsigned cell_bit;
    uint32_t cell_shift;
    bool cell_clock, select, com_on;
    unsigned spi_bytes;
    uint16_t spi_word;
};

struct emulator *emulator_new(const char *elf, uint32_t seed);
void emulator_free(struct emulator *);
void emulator_run_to(struct emulator *, uint64_t cycle);
void emulator_run_ms(struct emulator *, double ms);
void emulator_send(struct emulator *, const char *line); /* adds the check sum and the line end */
void emulator_bytes(struct emulator *, const uint8_t *bytes, unsigned n);
void emulator_input(struct emulator *, char port, int pin, bool level);
double emulator_uniform(struct emulator *); /* 0 to 1 */
bool emulator_check(char *line);            /* cuts a right check sum off */

#endif
