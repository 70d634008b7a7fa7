// A steady tone on a test picture: a carrier or a switching supply, seen as stripes or a herringbone.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <memory>
#include <optional>

#include "picture_view.hpp"
#include "video_flat_spectrum.hpp"
#include "video_noise_tone.hpp"

namespace linebench::measure {

/// picture.noise.periodic.frequency, .level, .from. Rows are put where they were scanned, so that a tone adds
/// up over a field. What is picture is taken out first: of a test picture what all of a field's rows show
/// alike, of another that stands still the mean of its first frames; then level and slope of each row.
class PictureToneMeter final : public FrameMeter {
 public:
  explicit PictureToneMeter(const PictureSetup& setup);
  void push(const PictureView& view) override;
  /// To be called once. @param moves what is no test picture does not stand still after all
  void search(bool moves, bool pulled);
  /// After search(): the tone found is the same in each frame.
  [[nodiscard]] bool stands() const;
  /// Amplitude of the tone found, codes; 0: none.
  [[nodiscard]] double amplitude() const { return tone_ ? tone_->pp_mv / 2 : 0; }
  [[nodiscard]] double radians_per_px() const;
  /// Noise beside the tone found, codes rms.
  [[nodiscard]] double rest() const;
  struct Rest {
    double variance = 0, u = 0;  // codes^2, with rounding's share; k = 2
    bool at_most = false;        // some of the tone may be left in it
  };
  /// The same for its reading, where a tone was found that would be much of the noise.
  [[nodiscard]] std::optional<Rest> rest_variance() const;
  /// After search(). @param noise of a frame, codes rms
  void finish(bool rolling, double noise, Readings& out);

 private:
  void take_mean_of_rows(const PictureView& view);
  [[nodiscard]] LineView line_view(const PictureView& view, int row) const;
  [[nodiscard]] double in_mean(double hz, bool of_frames) const;
  void found(Readings& out) const;

  const PictureSetup& setup_;
  bool of_frames_;   // the mean that is taken out is that of frames, not of rows
  std::string why_;  // it cannot be looked for; empty: it can
  VideoSetup timing_;
  std::vector<int> rows_;  // of one field
  int first_ = 0;          // column
  std::unique_ptr<FlatSpectrum> shape_;
  std::unique_ptr<ToneSearch> search_;
  std::vector<float> mean_, row_;
  ToneSearch::Result result_;
  ToneSearch::Rest rest_;                  // what the tone found leaves, clear of the pattern's edges
  std::optional<ToneSearch::Found> tone_;  // pp in codes, its share in the mean put back in
};

}  // namespace linebench::measure
