#include "measure/picture_sections.h"

#include <algorithm>
#include <cmath>

namespace rimwright {

namespace {

// Joins neighbouring unmeasured stations of one reason.
class GapCollector {
 public:
  GapCollector(std::vector<Gap>& gaps, std::string feature) : gaps_(gaps), feature_(std::move(feature)) {}
  ~GapCollector() { close(); }
  GapCollector(const GapCollector&) = delete;
  GapCollector& operator=(const GapCollector&) = delete;

  void missing(double station_mm, const Refusal& why) {
    if (open_ && (why.what != gap_.why.what || station_mm - gap_.to_mm > 2.5)) close();
    if (!open_) gap_ = {station_mm, station_mm, feature_, why};
    open_ = true;
    gap_.to_mm = station_mm;
  }
  void close() {
    constexpr double shortest_mm = 3.0;
    if (open_ && gap_.to_mm - gap_.from_mm >= shortest_mm) gaps_.push_back(gap_);
    open_ = false;
  }

 private:
  std::vector<Gap>& gaps_;
  std::string feature_;
  Gap gap_;
  bool open_ = false;
};

}  // namespace

std::vector<SectionPicture> picture_sections(const UnrolledRim& rim, const FittedRim& fitted, std::size_t most_points) {
  std::vector<SectionPicture> pictures;
  const double step = fitted.station_mm.size() > 1 ? fitted.station_mm[1] - fitted.station_mm[0] : 1.0;
  for (std::size_t i = 0; i < fitted.station_mm.size(); i += 2) {
    const auto section = section_at(rim, fitted, i);
    const Vector2 corner = section ? section->corner_mm : Vector2(0.0, 0.0);
    SectionPicture picture;
    picture.station_mm = fitted.station_mm[i];
    const auto slices_a_station = static_cast<std::size_t>(std::lround(step / rim.slice_mm));
    const std::size_t begin = rim.slice_begin[std::min(rim.slice_count(), i * slices_a_station)];
    const std::size_t end = rim.slice_begin[std::min(rim.slice_count(), (i + 1) * slices_a_station)];
    const std::size_t stride = std::max<std::size_t>(1, (end - begin) / std::max<std::size_t>(1, most_points) + 1);
    for (std::size_t k = begin; k < end; k += stride)
      picture.points_out_up_mm.emplace_back(static_cast<float>(rim.out_mm[k] - corner.x()),
                                            static_cast<float>(rim.up_mm[k] - corner.y()));
    for (const FaceFits& face : fitted.faces) {
      const FaceFit& fit = face.at[i];
      if (!fit.measured) continue;
      Vector2 from = face.point(fit, std::min(fit.from_t_mm, fit.to_t_mm)),
              to = face.point(fit, std::max(fit.from_t_mm, fit.to_t_mm));
      if (face.track->name == FaceName::top) {
        const SectionTop top = top_of(rim, fitted.station_mm[i], &fit);
        from = {-std::min(fit.from_t_mm, fit.to_t_mm), top.up(-std::min(fit.from_t_mm, fit.to_t_mm))};
        to = {-std::max(fit.from_t_mm, fit.to_t_mm), top.up(-std::max(fit.from_t_mm, fit.to_t_mm))};
      }
      picture.faces.push_back({kind_of(face.track->name), from - corner, to - corner});
    }
    std::stable_sort(picture.faces.begin(), picture.faces.end(), [](const SectionFace& a, const SectionFace& b) {
      const auto along = [](const SectionFace& f) {
        return f.from_out_up_mm.y() + f.to_out_up_mm.y() - f.from_out_up_mm.x() - f.to_out_up_mm.x();
      };
      return along(a) < along(b);
    });
    pictures.push_back(std::move(picture));
  }
  return pictures;
}

std::vector<Gap> find_gaps(const BevelMeasures& bevel, const std::vector<ChannelMeasures>& channels) {
  std::vector<Gap> gaps;
  {
    GapCollector collector(gaps, "bevel");
    double last_mm = bevel.stations.empty() ? 0.0 : bevel.stations.front().station_mm;
    for (const auto& station : bevel.stations) {
      if (station.station_mm - last_mm > 4.0) {
        const Refusal unseen{RefusalReason::not_seen, "the bevel face is not seen here", "scan this stretch again"};
        for (double s = last_mm + 1.0; s < station.station_mm; s += 1.0) collector.missing(s, unseen);
      }
      last_mm = station.station_mm;
      for (const Measured* quantity : {&station.angle_deg, &station.drop_mm})
        if (!quantity->is_measured()) {
          collector.missing(station.station_mm, quantity->why_not);
          break;
        }
    }
  }
  for (const auto& channel : channels) {
    for (std::size_t k = 0; !channel.stations.empty() && k < channel.stations.front().steps.size(); ++k) {
      GapCollector collector(
          gaps, "channel " + std::to_string(channel.planned_channel + 1) + " step " + std::to_string(k + 1));
      for (const auto& station : channel.stations) {
        const StepMeasures& step = station.steps[k];
        if (!step.depth_mm.is_measured())
          collector.missing(station.station_mm, step.depth_mm.why_not);
        else if (!step.width_mm.is_measured())
          collector.missing(station.station_mm, step.width_mm.why_not);
      }
    }
  }
  return gaps;
}

}  // namespace rimwright
