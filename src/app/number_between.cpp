#include "app/number_between.h"

#include <array>
#include <cstdio>
#include <string>

#include "plan/strict_yaml.h"

namespace rimwright {

CLI::Validator number_between(double low, double high) {
  return {[low, high](const std::string& word) {
            double value = 0.0;
            const bool within = CLI::detail::lexical_cast(word, value) && value >= low && value <= high;
            std::array<char, 80> limits{};
            std::snprintf(limits.data(), limits.size(), " is no number from %g to %g", low, high);
            return within ? std::string() : shown_safely(word) + limits.data();
          },
          "NUMBER"};
}

}  // namespace rimwright
