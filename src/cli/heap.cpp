#include "cli/heap.hpp"

#include <malloc.h>
#include <sys/mman.h>

#include <cstdlib>

namespace charpie::cli {

void ask_for_huge_pages() {
#if defined(__GLIBC__) && defined(MADV_HUGEPAGE)
  constexpr std::size_t huge_page = 2 << 20;
  constexpr std::size_t room = 4 * huge_page;  // the tables of a form or two
  // A block this large would lie outside of the heap, or be given back when it is free.
  mallopt(M_MMAP_THRESHOLD, 2 * room);
  mallopt(M_TRIM_THRESHOLD, 2 * room);
  void* const block = std::aligned_alloc(huge_page, room);
  if (block != nullptr) madvise(block, room, MADV_HUGEPAGE);
  std::free(block);  // the heap keeps it, and what is asked for next comes from there
#endif
}

}  // namespace charpie::cli
