#include <fmt/format.h>
#include <nettle/base64.h>
#include <nettle/sha2.h>

#include <array>
#include <linebench/live/page_server.hpp>

#include "page_parts.hpp"

namespace linebench::live {
namespace {

// The hash by which a browser knows a script or style as the page's own.
std::string source_hash(std::string_view text) {
  sha256_ctx context;
  sha256_init(&context);
  sha256_update(&context, text.size(), reinterpret_cast<const std::uint8_t*>(text.data()));
  std::array<std::uint8_t, SHA256_DIGEST_SIZE> digest{};
  sha256_digest(&context, digest.size(), digest.data());
  std::string out(BASE64_ENCODE_RAW_LENGTH(SHA256_DIGEST_SIZE), '\0');
  base64_encode_raw(out.data(), digest.size(), digest.data());
  return "'sha256-" + out + "'";
}

std::string document(std::string_view title, std::string_view body, std::string_view script) {
  return fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{}</title>"
      "<meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><link rel=\"icon\" "
      "href=\"data:,\"><style>{}</style></head>\n<body><main>{}</main><script>{}</script></body></html>\n",
      title, page_style, body, script);
}

constexpr std::string_view live_body = R"html(
<h1>Live: <span id="source"></span></h1>
<p class="bar"><span id="state" class="state"></span><span id="lost" class="lost" role="alert" hidden>no answer from the bench: these readings are old</span></p>
<p id="note" role="status"></p>
<div class="bar"><button id="hold" aria-pressed="false">Hold (h)</button>
<form id="marking" class="bar"><input id="text" maxlength="200" autocomplete="off" placeholder="pulled shield at counter 2" aria-label="What was done"><button>Mark (m)</button></form></div>
<section><h2>Readings</h2><p id="since" class="soft"></p>
<div class="scroll"><table><thead><tr id="head"></tr></thead><tbody id="rows"></tbody></table></div></section>
<section id="pictures" hidden><h2>Picture and the means of its rows</h2><div class="picture"><canvas id="thumb" class="thumb" role="img" aria-label="the picture, small"></canvas><canvas id="profile" role="img" aria-label="mean of each row: hum shows as a wave"></canvas></div></section>
<div class="grid">
<section id="audio" hidden><h2>Spectrum, dBFS over Hz; dotted: mains and its multiples</h2><canvas id="spectrum" role="img" aria-label="spectrum of the last second"></canvas><h2>Level, dBFS</h2><canvas id="levels" role="img" aria-label="level over the last five minutes"></canvas></section>
<section><h2>Hum</h2><canvas id="hums" role="img" aria-label="hum over the last five minutes"></canvas></section>
</div>
<section><h2>Marks</h2><ol id="marks"></ol></section>
<section><h2>Pitch</h2><div class="bar"><button id="pitch" aria-pressed="false">Pitch (p)</button><select id="follow" aria-label="Reading the pitch follows"></select></div><p class="soft">Higher is more. <span id="why"></span></p></section>
)html";

constexpr std::string_view code_body = R"html(
<h1>The code, please</h1><p>It stands on the terminal where the measurement runs, and opens one browser.</p>
<form id="ask" class="bar"><input id="code" autocomplete="off" autocapitalize="characters" aria-label="Code" autofocus><button>Open</button></form><p id="answer" role="alert"></p>
)html";

}  // namespace

const std::string& live_page() {
  static const std::string page = document("linebench: live", live_body, page_script);
  return page;
}

const std::string& code_page() {
  static const std::string page = document("linebench: code", code_body, code_script);
  return page;
}

const std::string& content_policy() {
  static const std::string policy = fmt::format(
      "default-src 'none'; script-src {} {}; style-src {}; connect-src 'self'; img-src data:; base-uri "
      "'none'; "
      "form-action 'none'; frame-ancestors 'none'",
      source_hash(page_script), source_hash(code_script), source_hash(page_style));
  return policy;
}

}  // namespace linebench::live
