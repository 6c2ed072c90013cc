#include "emulator.h"

#include <simavr/avr_adc.h>
#include <simavr/avr_extint.h>
#include <simavr/avr_spi.h>
#include <simavr/avr_timer.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_cycle_timers.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_interrupts.h>
#include <simavr/sim_irq.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Between two bytes to the board. Its own byte takes 2800 cycles (10 bits of 35 counts of 8 cycles), and the emulator's
 * receiver falls behind a sender that is as fast. */
#define CYCLES_PER_BYTE 2880

static const struct {
    char port;
    int pin;
} places[PINS] = {{'B', 2}, {'D', 7}, {'B', 1}, {'D', 6}};

double emulator_uniform(struct emulator *e) {
    e->noise ^= e->noise << 13;
    e->noise ^= e->noise >> 17;
    e->noise ^= e->noise << 5;
    return e->noise / 4294967296.0;
}

static void on_pin(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    struct emulator *e = ((void **)param)[0];
    enum pin pin = (enum pin)(uintptr_t)((void **)param)[1];
    bool level = value & 1;
    if (level == e->level[pin]) {
        return;
    }
    uint64_t now = e->avr->cycle;
    if (pin == PUMP && !level) {
        e->on_cycles += now - e->since[pin];
    }
    e->level[pin] = level;
    e->since[pin] = now;
    if (e->changed) {
        e->changed(e, pin, level, now);
    }
}

static void on_byte(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    struct emulator *e = param;
    if (e->byte) {
        e->byte(e, (uint8_t)value);
    }
    if ((char)value == '\n') {
        e->out[e->out_used] = 0;
        e->out_used = 0;
        if (e->line) {
            e->line(e, e->out, e->avr->cycle);
        }
    } else if (e->out_used < sizeof e->out - 1) {
        e->out[e->out_used++] = (char)value;
    }
}

static void on_spi(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    struct emulator *e = param;
    e->spi_word = (uint16_t)(e->spi_word << 8 | (value & 0xff));
    e->spi_bytes++;
}

/* The converter takes 16 bits over when its select rises. */
static void on_select(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    struct emulator *e = param;
    bool level = value & 1;
    if (level && !e->select && e->spi_bytes == 2 && (e->spi_word & 0x3000) == 0x3000) {
        int channel = e->spi_word >> 15;
        e->code[channel] = e->spi_word & 0xfff;
        e->code_at[channel] = e->avr->cycle;
        if (e->converted) {
            e->converted(e, channel, e->code[channel], e->avr->cycle);
        }
    }
    if (!level && e->select) {
        e->spi_bytes = 0;
    }
    e->select = level;
}

static avr_irq_t *port(struct emulator *e, char name, int pin) {
    return avr_io_getirq(e->avr, AVR_IOCTL_IOPORT_GETIRQ(name), pin);
}

static void cell_data(struct emulator *e, bool level) {
    emulator_input(e, 'D', 5, level);
}

static void on_cell_clock(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    struct emulator *e = param;
    bool level = value & 1;
    if (level && !e->cell_clock) {
        if (e->cell_bit < 24) {
            cell_data(e, (e->cell_shift >> (23 - e->cell_bit)) & 1);
        } else {
            cell_data(e, true);
            e->cell_due = e->avr->cycle + e->cell_every;
        }
        e->cell_bit++;
    }
    e->cell_clock = level;
}

static void on_conversion(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    (void)value;
    struct emulator *e = param;
    if (e->sampled) {
        e->sampled(e);
    }
    int i = e->avr->data[0x7c] & 15; /* the channel chosen in ADMUX */
    if (i < 4) {
        /* Half a count of noise of the converter itself; the emulator takes whole mV. */
        double mv = e->volts[i] * 1000 + (emulator_uniform(e) + emulator_uniform(e) - 1) * 5;
        mv = mv < 0 ? 0 : mv > 5000 ? 5000 : mv;
        avr_raise_irq(e->adc + i, (uint32_t)(mv + 0.5));
    }
}

static void on_interrupt(struct avr_irq_t *irq, uint32_t value, void *param) {
    struct emulator *e = ((void **)param)[0];
    unsigned vector = (unsigned)(uintptr_t)((void **)param)[1];
    bool running = (uintptr_t)((void **)param)[2];
    (void)irq;
    if (!running && value) {
        e->pending[vector] = e->avr->cycle;
    } else if (running && value && e->pending[vector]) {
        uint64_t waited = e->avr->cycle - e->pending[vector];
        if (waited > e->latency_max[vector]) {
            e->latency_max[vector] = waited;
        }
        e->pending[vector] = 0;
    }
}

/* Time asleep is counted, not waited for. */
static void no_wait(avr_t *avr, avr_cycle_count_t cycles) {
    (void)avr;
    (void)cycles;
}

static void quiet(avr_t *avr, const int level, const char *format, va_list ap) {
    (void)avr;
    if (level <= LOG_ERROR) {
        vfprintf(stderr, format, ap);
    }
}

static void *pack(void *a, uintptr_t b, uintptr_t c) {
    void **p = malloc(3 * sizeof *p);
    p[0] = a;
    p[1] = (void *)b;
    p[2] = (void *)c;
    return p;
}

struct emulator *emulator_new(const char *elf, uint32_t seed) {
    elf_firmware_t firmware = {0};
    if (elf_read_firmware(elf, &firmware) != 0) {
        fprintf(stderr, "%s: no firmware\n", elf);
        exit(2);
    }
    avr_global_logger_set(quiet);
    struct emulator *e = calloc(1, sizeof *e);
    e->noise = seed * 2654435761u | 1;
    e->avr = avr_make_mcu_by_name("atmega328p");
    avr_init(e->avr);
    firmware.frequency = (uint32_t)CYCLES_PER_S;
    avr_load_firmware(e->avr, &firmware);
    e->avr->vcc = e->avr->avcc = e->avr->aref = 5000;
    e->avr->log = LOG_ERROR;
    e->avr->sleep = no_wait;

    /* The firmware uses no external interrupt; the emulator would look at a low pin in every cycle. */
    avr_extint_set_strict_lvl_trig(e->avr, EXTINT_IRQ_OUT_INT0, 0);
    avr_extint_set_strict_lvl_trig(e->avr, EXTINT_IRQ_OUT_INT1, 0);

    uint32_t flags = 0;
    avr_ioctl(e->avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(e->avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_io_getirq(e->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte, e);
    for (int i = 0; i < PINS; i++) {
        avr_irq_register_notify(port(e, places[i].port, places[i].pin), on_pin, pack(e, (uintptr_t)i, 0));
    }
    avr_irq_register_notify(avr_io_getirq(e->avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_OUTPUT), on_spi, e);
    avr_irq_register_notify(port(e, 'D', 4), on_select, e);
    avr_irq_register_notify(port(e, 'D', 3), on_cell_clock, e);
    avr_irq_register_notify(avr_io_getirq(e->avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_conversion, e);
    for (unsigned vector = 1; vector < 26; vector++) {
        avr_irq_t *irq = avr_get_interrupt_irq(e->avr, (uint8_t)vector);
        if (irq) {
            avr_irq_register_notify(irq + AVR_INT_IRQ_PENDING, on_interrupt, pack(e, vector, 0));
            avr_irq_register_notify(irq + AVR_INT_IRQ_RUNNING, on_interrupt, pack(e, vector, 1));
        }
    }
    e->adc = avr_io_getirq(e->avr, AVR_IOCTL_ADC_GETIRQ, 0);
    e->cell_every = CYCLES_PER_S / 80;
    e->cell_due = UINT64_MAX;
    emulator_input(e, 'D', 2, false); /* emergency stop not pressed */
    emulator_input(e, 'B', 0, false);
    emulator_input(e, 'C', 4, true);
    emulator_input(e, 'C', 5, true);
    cell_data(e, true);
    return e;
}

void emulator_free(struct emulator *e) {
    avr_terminate(e->avr);
    free(e);
}

/* What drives a pin from outside must be told to the port as well: it works its pins out anew at each write. */
void emulator_input(struct emulator *e, char name, int pin, bool level) {
    uint8_t *value = &e->outside[name - 'B'], *mask = &e->driven[name - 'B'];
    *mask |= (uint8_t)(1 << pin);
    *value = (uint8_t)(level ? *value | 1 << pin : *value & ~(1 << pin));
    avr_ioport_external_t external = {.name = (unsigned char)name, .mask = *mask, .value = *value};
    avr_ioctl(e->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL(name), &external);
    avr_raise_irq(port(e, name, pin), level);
}

void emulator_run_to(struct emulator *e, uint64_t cycle) {
    while (e->avr->cycle < cycle) {
        uint64_t now = e->avr->cycle;
        if (e->in_tail != e->in_head && now >= e->in_next) {
            e->in_next = now + CYCLES_PER_BYTE;
            e->last_in = now;
            avr_raise_irq(avr_io_getirq(e->avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), e->in[e->in_tail]);
            e->in_tail = (e->in_tail + 1) % sizeof e->in;
        }
        if (now >= e->cell_due) {
            e->cell_due = UINT64_MAX;
            e->cell_bit = 0;
            e->cell_shift = (uint32_t)e->cell & 0xffffff;
            cell_data(e, false);
        }
        /* Asleep, nothing happens before the next timer or what is sent to the board. */
        avr_cycle_timer_slot_p next = e->avr->cycle_timers.timer;
        if (e->avr->state == cpu_Sleeping && next && !avr_has_pending_interrupts(e->avr)) {
            uint64_t until = next->when < cycle ? next->when : cycle;
            until = e->cell_due < until ? e->cell_due : until;
            until = e->in_tail != e->in_head && e->in_next < until ? e->in_next : until;
            if (until > now + 2) {
                e->avr->cycle = until - 2;
            }
        }
        int state = avr_run(e->avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            fprintf(stderr, "the emulated processor stopped, state %d\n", state);
            exit(3);
        }
    }
}

void emulator_run_ms(struct emulator *e, double ms) {
    emulator_run_to(e, e->avr->cycle + (uint64_t)(ms * (double)CYCLES_PER_MS));
}

static uint8_t crc8(const char *text, size_t n) {
    /* By table of the remainders of one nibble: another way than the firmware's, bit by bit. */
    static const uint8_t table[16] = {0x00, 0x07, 0x0e, 0x09, 0x1c, 0x1b, 0x12, 0x15,
                                      0x38, 0x3f, 0x36, 0x31, 0x24, 0x23, 0x2a, 0x2d};
    uint8_t crc = 0;
    for (size_t i = 0; i < n; i++) {
        crc ^= (uint8_t)text[i];
        crc = (uint8_t)(crc << 4) ^ table[crc >> 4];
        crc = (uint8_t)(crc << 4) ^ table[crc >> 4];
    }
    return crc;
}

void emulator_bytes(struct emulator *e, const uint8_t *bytes, unsigned n) {
    for (unsigned i = 0; i < n; i++) {
        unsigned next = (e->in_head + 1) % sizeof e->in;
        if (next == e->in_tail) {
            return;
        }
        e->in[e->in_head] = bytes[i];
        e->in_head = next;
    }
}

void emulator_send(struct emulator *e, const char *line) {
    char text[128];
    int n = snprintf(text, sizeof text, "%s*%02X\n", line, crc8(line, strlen(line)));
    emulator_bytes(e, (const uint8_t *)text, (unsigned)n);
}

bool emulator_check(char *line) {
    size_t n = strlen(line);
    if (n < 4 || line[n - 3] != '*') {
        return false;
    }
    unsigned sum;
    if (sscanf(line + n - 2, "%2X", &sum) != 1) {
        return false;
    }
    line[n - 3] = 0;
    return sum == crc8(line, n - 3);
}
