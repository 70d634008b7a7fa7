// Recipes, and what a person says of levels.
#include <cmath>
#include <linebench/signals/audio_signal.hpp>
#include <linebench/signals/level.hpp>
#include <linebench/signals/recipe.hpp>
#include <linebench/signals/video_recipe.hpp>
#include <vector>

#include "scratch.hpp"
#include "target.hpp"

using namespace linebench;

// Its "name" must be "fuzz", as the file's.
FUZZ_TARGET(recipe) {
  const auto file = fuzz::scratch("recipe/fuzz.toml", input);
  fuzz::reads([&] {
    const signals::Recipe recipe = signals::read_recipe(file);
    if (recipe.kind->medium == signals::Medium::Video) {
      (void)signals::picture_spec(recipe);
      fuzz::require(signals::picture_seconds(recipe) > 0, "a length");
      return;
    }
    signals::AudioSignalOptions options;
    options.sample_rate_hz = 8000;
    const auto source = signals::make_audio_signal(recipe, options);
    std::vector<float> block(static_cast<std::size_t>(source->facts().channels) * 4096);
    for (int i = 0; i < 2; ++i) {
      const std::size_t n = source->read(block) * static_cast<std::size_t>(source->facts().channels);
      for (std::size_t k = 0; k < n; ++k)
        fuzz::require(std::abs(block[k]) <= 1.0F, "no sample beyond full scale");
    }
  });
}

FUZZ_TARGET(level) {
  fuzz::reads([&] {
    const signals::Level level = signals::parse_level(input);
    (void)signals::to_string(level);
    fuzz::require(std::isfinite(signals::resolve_dbfs(level, 1.5)), "a level is a number");
  });
}
