#include "capture/duplicates.h"

#include <algorithm>
#include <bit>
#include <memory>
#include <numeric>

namespace rimwright {

namespace {

constexpr std::size_t points_per_bucket = std::size_t{1} << 17;  // its table still fits a core's second cache
constexpr unsigned most_bucket_bits = 9;  // more write streams than this thrash the address cache
constexpr std::size_t points_per_chunk = std::size_t{1} << 18;

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

std::size_t drop_in_bucket(const Cloud& cloud, const Entry* entries, std::size_t count,
                           std::vector<std::uint32_t>& table, std::vector<std::uint8_t>& keep) {
  const std::size_t slots = std::bit_ceil(2 * count + 1);
  table.assign(slots, 0);
  std::size_t dropped = 0;
  for (std::size_t k = 0; k < count; ++k) {
    for (std::size_t slot = entries[k].hash & (slots - 1);; slot = (slot + 1) & (slots - 1)) {
      const std::uint32_t other = table[slot];
      if (other == 0) {
        table[slot] = static_cast<std::uint32_t>(k + 1);
        break;
      }
      if (entries[other - 1].hash == entries[k].hash && same_place(cloud, entries[other - 1].index, entries[k].index)) {
        keep[entries[k].index] = 0;
        ++dropped;
        break;
      }
    }
  }
  return dropped;
}

}  // namespace

std::size_t drop_duplicates(const Cloud& cloud, std::vector<std::uint8_t>& keep, Workers& workers) {
  const std::size_t points = cloud.size();
  const unsigned bucket_bits =
      std::min<unsigned>(most_bucket_bits, static_cast<unsigned>(std::bit_width(points / points_per_bucket)));
  const std::size_t buckets = std::size_t{1} << bucket_bits;
  const auto bucket_of = [&](std::uint64_t hash) { return bucket_bits == 0 ? 0 : hash >> (64U - bucket_bits); };

  // starts[chunk][bucket]: first how many entries the chunk has for the bucket, then where it writes them. Chunks write
  // in order, so a bucket lists its points by index and the first of equal ones is kept.
  const std::size_t chunks = (points + points_per_chunk - 1) / points_per_chunk;
  std::vector<std::size_t> starts(chunks * buckets, 0);
  workers.for_chunks(points, points_per_chunk, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
    for (std::size_t i = begin; i < end; ++i) {
      if (keep[i] != 0) ++starts[chunk * buckets + bucket_of(hash_of(cloud, i))];
    }
  });
  std::vector<std::size_t> bucket_start(buckets + 1, 0);
  std::size_t total = 0;
  for (std::size_t bucket = 0; bucket < buckets; ++bucket) {
    bucket_start[bucket] = total;
    for (std::size_t chunk = 0; chunk < chunks; ++chunk) {
      const std::size_t count = starts[chunk * buckets + bucket];
      starts[chunk * buckets + bucket] = total;
      total += count;
    }
  }
  bucket_start[buckets] = total;

  const auto entries = std::make_unique_for_overwrite<Entry[]>(total);
  workers.for_chunks(points, points_per_chunk, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
    for (std::size_t i = begin; i < end; ++i) {
      if (keep[i] == 0) continue;
      const std::uint64_t hash = hash_of(cloud, i);
      entries[starts[chunk * buckets + bucket_of(hash)]++] = {static_cast<std::uint32_t>(hash),
                                                              static_cast<std::uint32_t>(i)};
    }
  });
  std::vector<std::size_t> dropped(buckets, 0);
  workers.for_chunks(buckets, 1, [&](std::size_t bucket, std::size_t, std::size_t) {
    thread_local std::vector<std::uint32_t> table;
    const std::size_t begin = bucket_start[bucket];
    dropped[bucket] = drop_in_bucket(cloud, entries.get() + begin, bucket_start[bucket + 1] - begin, table, keep);
  });
  return std::accumulate(dropped.begin(), dropped.end(), std::size_t{0});
}

}  // namespace rimwright
