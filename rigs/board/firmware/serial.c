/* The serial line, 57600 baud (0.8 % fast at 16 MHz), both ways through rings. */
#include "board.h"

#define IN 128
#define OUT 256

static uint8_t in[IN], out[OUT];
static volatile uint8_t in_head, in_tail, out_head, out_tail;
static volatile uint16_t lost;

void serial_init(void) {
    UCSR0A = _BV(U2X0);
    UBRR0 = 34;
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

ISR(USART_RX_vect) {
    uint8_t byte = UDR0;
    uint8_t next = (uint8_t)((in_head + 1) % IN);
    if (next == in_tail) {
        lost++;
    } else {
        in[in_head] = byte;
        in_head = next;
    }
}

ISR(USART_UDRE_vect) {
    if (out_tail == out_head) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
    } else {
        UDR0 = out[out_tail++];
    }
}

bool serial_get(uint8_t *byte) {
    if (in_tail == in_head) {
        return false;
    }
    *byte = in[in_tail];
    in_tail = (uint8_t)((in_tail + 1) % IN);
    return true;
}

bool serial_put(const char *text, uint8_t length) {
    uint8_t room = (uint8_t)(out_tail - out_head - 1);
    if (room < length) {
        return false;
    }
    for (uint8_t i = 0; i < length; i++) {
        out[(uint8_t)(out_head + i)] = (uint8_t)text[i];
    }
    out_head = (uint8_t)(out_head + length);
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        UCSR0B |= _BV(UDRIE0);
    }
    return true;
}

/* Bytes that found no room. */
uint16_t serial_lost(void) {
    uint16_t n;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        n = lost;
    }
    return n;
}
