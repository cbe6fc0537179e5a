// How the program's memory begins. Loading the tables touches some megabytes once: in pages of 4 KiB that is
// a thousand page faults, which cost a short run more than the loading itself.
#pragma once

namespace charpie::cli {

/// Asks for huge pages where the heap begins (madvise(2), MADV_HUGEPAGE). A hint: where the system knows no
/// huge pages, or has none free, the program runs as without. Call it once, before any thread.
void ask_for_huge_pages();

}  // namespace charpie::cli
