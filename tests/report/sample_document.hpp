// A document with a bit of everything, for looking at and for tests.
#pragma once

#include <linebench/judge/limits.hpp>
#include <linebench/report/document.hpp>
#include <linebench/report/page.hpp>

namespace sample {

inline linebench::report::Document stereo() {
  using namespace linebench;
  report::Document d;
  d.command = "measure";
  d.input.source = "lane-2 evening.wav";
  d.input.kind = "audio file";
  d.input.format = "WAV, 24 bit";
  d.input.sample_rate_hz = 48000;
  d.input.channels = 2;
  d.input.frames = 480000;
  d.readings = {
      number_reading("audio.level.rms.left", -18.004, 0.004),
      number_reading("audio.level.rms.right", -24.3, 0.004),
      number_reading("audio.level.dc.left", 0.00002, 0.000004),
      number_reading("audio.level.dc.right", 0.0312, 0.00004),
      number_reading("audio.tone.frequency.left", 1000.00213, 0.0011),
      number_reading("audio.tone.frequency.right", 1000.0019, 0.0011),
      number_reading("audio.thd.left", 0.0123, 0.0002),
      number_reading("audio.thd.right", 0.0131, 0.0002),
      number_reading("audio.noise.a.left", -78.1, 0.21),
      number_reading("audio.noise.a.right", -58.05, 0.21),
      number_reading("audio.hum.frequency.left", 50.0203, 0.0012),
      number_reading("audio.hum.level.left", -41.22, 0.06),
      number_reading("audio.hum.level.right", -38.5, 0.06),
      number_reading("audio.hum.harmonic.1.left", -41.9, 0.1),
      number_reading("audio.hum.harmonic.3.left", -50.2, 0.1),
      number_reading("audio.hum.harmonic.1.right", -38.9, 0.1),
      text_reading("audio.hum.kind.left", "fundamental"),
      number_reading("audio.clip.samples.left", 0, std::nullopt),
      number_reading("audio.clip.samples.right", 12, std::nullopt),
      number_reading("audio.pair.polarity", -1, std::nullopt),
      number_reading("audio.pair.delay", 0.00043217, 0.0000012),
      unmeasurable("audio.phone_burst.rate.left", "none found above the noise"),
      unmeasurable("audio.phone_burst.level.left", "none found above the noise", -96.2),
      unmeasurable("audio.dropout.count.left", "no steady signal to lose; send a tone"),
      unmeasurable("audio.dropout.count.right", "no steady signal to lose; send a tone"),
  };
  return d;
}

inline void judge_by(linebench::report::Document& d, const linebench::judge::LimitSet& set) {
  linebench::judge::judge(d.readings, set);
  d.limit_set = set.name;
  d.missing = linebench::judge::missing(d.readings, set);
  d.verdict = linebench::judge::to_string(linebench::judge::overall(d.readings, set));
}

inline linebench::report::Document judged() {
  auto d = stereo();
  judge_by(d, linebench::judge::load_limit_set("speech-path"));
  return d;
}

}  // namespace sample
