/* Pump, solenoid and drive source, and the heartbeat over them.
 *
 * A duty of 0 and one of 100 % are plain levels: the timer is cut off from the pin, so that neither holds a pulse of
 * one count. The pin's own level is always low, so that cutting the timer off means off. */
#include "board.h"

static volatile struct pump_state state;
static volatile uint16_t beats_left;
static volatile uint16_t solenoid_left;
static uint16_t period; /* counts of 62.5 ns */
static volatile uint16_t high;

static void cut(void) {
    PORTB &= (uint8_t)~_BV(PIN_PUMP);
    TCCR1A = _BV(WGM11) | _BV(WGM10);
}

void pump_init(void) {
    PORTB &= (uint8_t)~(_BV(PIN_PUMP) | _BV(PIN_SOURCE));
    DDRB |= _BV(PIN_PUMP) | _BV(PIN_SOURCE);
    PORTD &= (uint8_t)~_BV(PIN_SOLENOID);
    DDRD |= _BV(PIN_SOLENOID);
    /* A contact that opens when pressed, to ground, with a pull-up: a broken wire reads as pressed. */
    PORTD |= _BV(PIN_STOP);
    period = 16000;
    OCR1A = period - 1;
    TCCR1A = _BV(WGM11) | _BV(WGM10);
    TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS10);
}

void pump_off(bool tripped) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        cut();
        PORTB &= (uint8_t)~_BV(PIN_SOURCE);
        state.controller = false;
        high = 0;
        if (state.armed && tripped) {
            state.tripped = true;
        }
        state.armed = false;
        if (state.solenoid && solenoid_left == 0) {
            solenoid_left = SOLENOID_MS;
        }
    }
}

/* Ready to be switched on, with a duty of 0; false while the emergency stop is pressed. */
bool pump_arm(void) {
    bool done = false;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (!(PIND & _BV(PIN_STOP))) {
            if (!state.armed) {
                high = 0;
            }
            state.armed = true;
            state.tripped = false;
            beats_left = HEARTBEAT_MS;
            pump_solenoid(true);
            done = true;
        }
    }
    return done;
}

/* A heartbeat puts the trip off; it switches nothing on. */
void pump_beat(void) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        beats_left = HEARTBEAT_MS;
    }
}

/* Only whole fractions of the clock, and only while the pump is off. */
bool pump_frequency(uint16_t hz) {
    if ((hz != 1000 && hz != 2000 && hz != 4000) || state.armed) {
        return false;
    }
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        period = (uint16_t)(F_CPU / hz);
        /* Out of the PWM mode, where the top would be taken over at the end of a period only. */
        TCCR1B = 0;
        TCCR1A = 0;
        OCR1A = period - 1;
        TCNT1 = 0;
        TCCR1A = _BV(WGM11) | _BV(WGM10);
        TCCR1B = _BV(WGM13) | _BV(WGM12) | _BV(CS10);
        capture_init();
    }
    return true;
}

/* Takes effect while armed, at the start of the next period. */
void pump_duty(uint16_t hundredths) {
    uint16_t counts = (uint16_t)(((uint32_t)hundredths * period + 5000) / 10000);
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (!state.armed) {
            counts = 0;
        }
        high = counts;
        if (counts == 0) {
            cut();
        } else if (counts >= period) {
            PORTB |= _BV(PIN_PUMP);
            TCCR1A = _BV(WGM11) | _BV(WGM10);
        } else {
            OCR1B = counts - 1;
            TCCR1A = _BV(COM1B1) | _BV(WGM11) | _BV(WGM10);
            PORTB &= (uint8_t)~_BV(PIN_PUMP);
        }
    }
}

void pump_source(bool controller) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        if (controller && state.armed) {
            cut();
            high = 0;
            PORTB |= _BV(PIN_SOURCE);
        } else {
            PORTB &= (uint8_t)~_BV(PIN_SOURCE);
        }
        state.controller = controller && state.armed;
    }
}

void pump_solenoid(bool open) {
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        solenoid_left = 0;
        state.solenoid = open;
        if (open) {
            PORTD |= _BV(PIN_SOLENOID);
        } else {
            PORTD &= (uint8_t)~_BV(PIN_SOLENOID);
        }
    }
}

/* Every ms, with interrupts off. */
void pump_tick(void) {
    bool stop = (PIND & _BV(PIN_STOP)) != 0;
    state.stop = stop;
    if (state.armed) {
        if (stop) {
            pump_off(false);
        } else if (beats_left == 0) {
            pump_off(true);
        } else {
            beats_left--;
        }
    }
    if (solenoid_left != 0 && --solenoid_left == 0) {
        pump_solenoid(false);
    }
}

/* What the timer puts out, in 0.01 %. */
uint16_t pump_read_back(void) {
    uint16_t counts;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        counts = high;
    }
    return (uint16_t)(((uint32_t)counts * 10000 + period / 2) / period);
}

uint16_t pump_period(void) {
    return period;
}

struct pump_state pump_state(void) {
    struct pump_state now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        now = state;
        now.stop = (PIND & _BV(PIN_STOP)) != 0;
        now.on = state.armed && (state.controller || high != 0);
    }
    return now;
}
