/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * libFuzzer's door to one target; compiled once for each, with FUZZ_TARGET its function. */
#include "fuzz.h"

#ifdef FUZZ_TARGET
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n);
int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
    FUZZ_TARGET(bytes, n);
    return 0;
}
#endif
