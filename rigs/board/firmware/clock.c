/* The 1 ms tick of timer 2 and the time since reset. */
#include "board.h"

static volatile uint32_t ms;
static volatile bool ticked;

void clock_init(void) {
    TCCR2A = _BV(WGM21);
    OCR2A = 249; /* 250 counts of 4 us */
    TIMSK2 = _BV(OCIE2A);
    TCCR2B = _BV(CS22);
}

/* Time since reset; `us` is a multiple of 4 below 1000. */
uint32_t clock_ms(uint16_t *us) {
    uint32_t now;
    uint8_t count;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        now = ms;
        count = TCNT2;
        if ((TIFR2 & _BV(OCF2A)) && count < 125) {
            now++;
        }
    }
    *us = (uint16_t)count * 4;
    return now;
}

/* Whether the tick has run since the last call: the main loop feeds the watchdog only then. */
bool clock_ticked(void) {
    bool was = ticked;
    ticked = false;
    return was;
}

ISR(TIMER2_COMPA_vect) {
    ms++;
    ticked = true;
    pump_tick();
    sei(); /* the rest may wait for a capture, a pulse or a byte; the tick itself is 1 ms away */
    inputs_tick();
    voltage_tick();
}
