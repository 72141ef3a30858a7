#include "capture/duplicates.h"

#include <algorithm>
#include <bit>
#include <memory>
#include <numeric>
#include <span>

namespace rimwright {

namespace {

constexpr std::size_t points_per_bucket = std::size_t{1} << 15;  // its table fits a core's own cache beside the entries
constexpr unsigned most_bucket_bits = 9;
constexpr std::size_t points_per_chunk = std::size_t{1} << 16;  // its entries are dealt within the cache

struct Entry {
  std::uint32_t hash;  // what the bucket number leaves of it
  std::uint32_t index;
};

std::uint64_t bits(float value) { return std::bit_cast<std::uint32_t>(value + 0.0F); }  // -0 and 0 are one place

std::uint64_t hash_of(const Cloud& cloud, std::size_t i) {
  std::uint64_t h = (bits(cloud.x[i]) << 32U | bits(cloud.y[i])) * 0x9e3779b97f4a7c15ULL;
  h = (h ^ (h >> 32U) ^ (bits(cloud.z[i]) * 0xc2b2ae3d27d4eb4fULL)) * 0xff51afd7ed558ccdULL;
  return h ^ (h >> 29U);
}

bool same_place(const Cloud& cloud, std::size_t i, std::size_t j) {
  return cloud.x[i] == cloud.x[j] && cloud.y[i] == cloud.y[j] && cloud.z[i] == cloud.z[j];
}

// Entries of one bucket, a run from each chunk, in the chunks' order: by index, so the first of equal points is kept.
using Run = std::span<const Entry>;

std::size_t drop_in_bucket(const Cloud& cloud, const std::vector<Run>& runs, std::vector<Entry>& table,
                           std::vector<std::uint8_t>& keep) {
  constexpr std::uint32_t none = ~std::uint32_t{0};
  std::size_t count = 0;
  for (const Run& run : runs) count += run.size();
  const std::size_t slots = std::bit_ceil(2 * count + 1);
  table.assign(slots, {0, none});
  std::size_t dropped = 0;
  for (const Run& run : runs)
    for (const Entry& entry : run) {
      std::size_t slot = entry.hash & (slots - 1);
      while (table[slot].index != none &&
             !(table[slot].hash == entry.hash && same_place(cloud, table[slot].index, entry.index)))
        slot = (slot + 1) & (slots - 1);
      if (table[slot].index == none) {
        table[slot] = entry;
      } else {
        keep[entry.index] = 0;
        ++dropped;
      }
    }
  return dropped;
}

// Which of sixteen kinds of place a point lies at: the quickest hash that mixes all bits into four.
unsigned kind_of_place(const Cloud& cloud, std::size_t i) {
  const auto low = [](float value) { return static_cast<std::uint32_t>(bits(value)); };
  return (low(cloud.x[i]) * 0x9e3779b1U ^ low(cloud.y[i]) * 0x85ebca6bU ^ low(cloud.z[i]) * 0xc2b2ae35U) >> 28U;
}

// Among all points, or those at places of the first kind.
std::size_t drop_among(bool all, const Cloud& cloud, std::vector<std::uint8_t>& keep, Workers& workers) {
  constexpr std::size_t kinds = 16;
  const std::size_t points = cloud.size(), about = all ? points : points / kinds;
  const unsigned bucket_bits =
      std::min<unsigned>(most_bucket_bits, static_cast<unsigned>(std::bit_width(about / points_per_bucket)));
  const std::size_t buckets = std::size_t{1} << bucket_bits;
  const auto bucket_of = [&](std::uint64_t hash) { return bucket_bits == 0 ? 0 : hash >> (64U - bucket_bits); };

  // Each chunk deals its own points into buckets; where they begin is kept as places in `entries`.
  const std::size_t chunks = (points + points_per_chunk - 1) / points_per_chunk;
  std::vector<std::uint32_t> starts(chunks * (buckets + 1), 0);
  const auto entries = std::make_unique_for_overwrite<Entry[]>(points);
  workers.for_chunks(points, points_per_chunk, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
    thread_local std::vector<std::uint64_t> hashes;
    thread_local std::vector<std::uint32_t> among, next;
    hashes.resize(points_per_chunk);
    among.resize(points_per_chunk);
    next.assign(buckets + 1, 0);
    std::size_t count = 0;
    for (std::size_t i = begin; i < end; ++i) {
      among[count] = static_cast<std::uint32_t>(i);
      count += keep[i] != 0 && (all || kind_of_place(cloud, i) == 0) ? 1 : 0;
    }
    for (std::size_t k = 0; k < count; ++k) {
      hashes[k] = hash_of(cloud, among[k]);
      ++next[bucket_of(hashes[k]) + 1];
    }
    next[0] = static_cast<std::uint32_t>(begin);
    std::partial_sum(next.begin(), next.end(), next.begin());
    std::copy(next.begin(), next.end(), starts.begin() + static_cast<std::ptrdiff_t>(chunk * (buckets + 1)));
    for (std::size_t k = 0; k < count; ++k)
      entries[next[bucket_of(hashes[k])]++] = {static_cast<std::uint32_t>(hashes[k]), among[k]};
  });
  std::vector<std::size_t> dropped(buckets, 0);
  workers.for_chunks(buckets, 1, [&](std::size_t bucket, std::size_t, std::size_t) {
    thread_local std::vector<Entry> table;
    std::vector<Run> runs(chunks);
    for (std::size_t chunk = 0; chunk < chunks; ++chunk) {
      const std::uint32_t* start = &starts[chunk * (buckets + 1) + bucket];
      runs[chunk] = {entries.get() + start[0], start[1] - start[0]};
    }
    dropped[bucket] = drop_in_bucket(cloud, runs, table, keep);
  });
  return std::accumulate(dropped.begin(), dropped.end(), std::size_t{0});
}

}  // namespace

std::size_t drop_duplicates(const Cloud& cloud, std::vector<std::uint8_t>& keep, Workers& workers) {
  constexpr std::size_t large_cloud = 2'000'000;
  std::size_t dropped = 0;
  if (cloud.size() > large_cloud) {
    dropped = drop_among(false, cloud, keep, workers);
    if (dropped == 0) return 0;
  }
  return dropped + drop_among(true, cloud, keep, workers);
}

}  // namespace rimwright
