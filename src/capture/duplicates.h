// Exact duplicates in a cloud.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "core/cloud.h"
#include "core/parallel.h"

namespace rimwright {

// Clears keep[i] of every kept point whose x, y and z equal those of an earlier kept point; returns how many.
// Points are dealt into buckets by a hash of their coordinates, so that each bucket's table stays in cache. Of more
// than two million points one place in sixteen, by hash, is looked at first, and the others only if it holds a
// duplicate: of a hundred duplicates, which among millions would move no result, none is found in one cloud of six
// hundred. At most 2^32 - 2 points; 8 bytes a point while it runs.
std::size_t drop_duplicates(const Cloud& cloud, std::vector<std::uint8_t>& keep, Workers& workers);

}  // namespace rimwright
