// Put before every C file of the engine when it is built: see docs/engine.md.
//
// Where the engine's threads wait for one another they spin on a pause
// instruction. On a laptop with other work the thread that is waited for may
// not be running at all, and the spinner keeps it from its turn. So every now
// and then the pause gives the processor away.
#ifndef BEDSAID_PATIENCE_H
#define BEDSAID_PATIENCE_H

#if !defined(__ASSEMBLER__) && defined(__linux__) && (defined(__x86_64__) || defined(__i386__))
#include <immintrin.h>
#include <sched.h>

static inline void bedsaid_pause(void) {
    static _Thread_local unsigned int spins;
    _mm_pause();
    if ((++spins & 63u) == 0) {
        sched_yield();
    }
}

#define _mm_pause() bedsaid_pause()
#endif

#endif
