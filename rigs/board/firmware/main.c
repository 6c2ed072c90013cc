/* Reset, the main loop, and the hardware watchdog. */
#include "board.h"
#include <avr/sleep.h>
#include <avr/wdt.h>

#define PAINT 0xa5

static uint8_t cause __attribute__((section(".noinit")));
extern uint8_t _end, __stack;

/* Before anything else: what caused the reset, the watchdog on, the stack painted. */
void first(void) __attribute__((naked, used, section(".init3")));
void first(void) {
    cause = MCUSR;
    MCUSR = 0;
    wdt_enable(WDTO_250MS);
    for (uint8_t *at = &_end; at < &__stack; at++) {
        *at = PAINT;
    }
}

/* 1 power, 2 reset pin, 4 brown-out, 8 watchdog; sums where several. */
uint8_t reset_cause(void) {
    return cause;
}

/* Bytes of the stack that were never used. */
uint16_t stack_left(void) {
    const uint8_t *at = &_end;
    while (at < &__stack && *at == PAINT) {
        at++;
    }
    return (uint16_t)(at - &_end);
}

int main(void) {
    pump_init();
    capture_init();
    pulses_init();
    voltage_init();
    inputs_init();
    cell_init();
    serial_init();
    clock_init();
    set_sleep_mode(SLEEP_MODE_IDLE);
    sei();
    for (;;) {
        /* Main loop and tick both run, or the watchdog resets the board and with it every output. */
        if (clock_ticked()) {
            wdt_reset();
            words_stream();
        }
        words_poll();
        sleep_mode(); /* until the next interrupt, at most 64 us */
    }
}
