/* The load-cell amplifier: data low means a value is ready; 24 clock pulses read it, most significant bit first,
 * the 25th chooses its gain for the next. A clock held high for 60 us would put it to sleep, so each pulse is made
 * with interrupts off; between pulses they may come. */
#include "board.h"
#include <util/delay.h>

void cell_init(void) {
    PORTD &= (uint8_t)~_BV(PIN_CELL_CLOCK);
    DDRD |= _BV(PIN_CELL_CLOCK);
    PORTD |= _BV(PIN_CELL_DATA);
}

static bool pulse(void) {
    bool bit;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        PORTD |= _BV(PIN_CELL_CLOCK);
        _delay_us(1);
        bit = (PIND & _BV(PIN_CELL_DATA)) != 0;
        PORTD &= (uint8_t)~_BV(PIN_CELL_CLOCK);
    }
    _delay_us(1);
    return bit;
}

bool cell_read(int32_t *counts) {
    if (PIND & _BV(PIN_CELL_DATA)) {
        return false;
    }
    uint32_t value = 0;
    for (uint8_t i = 0; i < 24; i++) {
        value = value << 1 | pulse();
    }
    pulse();
    *counts = (int32_t)(value << 8) >> 8;
    return true;
}
