// What a report says of its own making, beside the inspection.
#pragma once

#include <cstdint>
#include <string>
#include <utility>
#include <vector>

namespace rimwright {

struct ReportContext {
  std::string version;      // of the program
  std::string made_on;      // date for people, "2026-07-04"; never in results.json, which depends on the input only
  std::string scan_name;    // file or folder name, without its path
  std::string scan_sha256;  // of the file; empty for a folder
  std::uint64_t scan_bytes = 0;
  std::string plan_name;
  std::string plan_sha256;
  std::vector<std::pair<std::string, std::string>> settings;  // those that differ from their defaults: key, value
  bool for_client = false;                                    // opens on the client's page
  double sanding_block_mm = 100.0;                            // length of the builder's flat block
};

}  // namespace rimwright
