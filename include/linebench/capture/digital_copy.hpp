// Notices a "return" that never left the computer.
#pragma once

#include <linebench/base/audio_source.hpp>

namespace linebench::capture {

/// True when some channel of `returned` holds a stretch of 4096 samples that equals the sent signal to 24
/// bits. No analogue path does that: the input is the computer's own copy of its output, or a digital link.
/// Reads the start of both (30 s at most) and moves them on.
[[nodiscard]] bool is_digital_copy(AudioSource& sent, AudioSource& returned);

}  // namespace linebench::capture
