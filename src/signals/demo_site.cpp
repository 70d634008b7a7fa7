#include <linebench/signals/demo_site.hpp>

namespace linebench::signals {

std::vector<DemoPath> ferry_terminal() {
  std::vector<DemoPath> site;
  const auto add = [&](const char* file, const char* title, const char* story,
                       const char* limits) -> DemoPath& {
    DemoPath path;
    path.file = file;
    path.title = title;
    path.story = story;
    path.limits = limits;
    path.seed = site.size() + 1;
    path.hum = {{1, -84}, {3, -90}};
    site.push_back(path);
    return site.back();
  };

  DemoPath& counter1 = add("counter-1.flac", "Ticket counter 1",
                           "A 1 kHz tone sent from the substation, taken at the hub.", "speech-path");
  counter1.tone_hz = 1000;

  // An earth loop: the counter's printer supply and the hub meet over the signal's shield. The current that
  // flows is the mains' own, strong in the fundamental and in the odd harmonics of rectifier loads.
  DemoPath& counter2 = add("counter-2.flac", "Ticket counter 2",
                           "Clerk speaking; customers complain of a hum behind the voice.", "speech-path");
  counter2.seconds = 10;
  counter2.speech_dbfs = -22;
  counter2.mains_hz = 50.02;
  counter2.mains_wander_hz = 0.004;
  counter2.hum = {{1, -36}, {2, -58}, {3, -43}, {5, -48}, {7, -54}, {9, -60}, {11, -64}, {13, -69}};

  DemoPath& counter3 = add("counter-3.flac", "Ticket counter 3",
                           "A tone sent while the desk was leaned on, to provoke the fault.", "speech-path");
  counter3.tone_hz = 1000;
  counter3.contact_lost_s = {1.31, 3.07, 3.64, 6.2};

  DemoPath& lane1 = add("lane-1.flac", "Vehicle lane 1", "A 1 kHz tone sent from the post, taken at the hub.",
                        "speech-path");
  lane1.tone_hz = 1000;
  lane1.tone_dbfs = -17.4;
  lane1.noise_dbfs = -78;

  DemoPath& lane2 = add(
      "lane-2.flac", "Vehicle lane 2",
      "The post's two loudspeaker lines, upper on the left and lower on the right, with noise sent to both.",
      "speech-path");
  lane2.channels = 2;
  lane2.seconds = 6;
  lane2.pair_noise_dbfs = -20;
  lane2.right_reversed = true;

  DemoPath& lane3 = add("lane-3.flac", "Vehicle lane 3", "Drivers sound harsh; a tone sent at nominal level.",
                        "speech-path");
  lane3.tone_hz = 1000;
  lane3.overload_dbfs = -17;

  DemoPath& lane4 =
      add("lane-4.flac", "Vehicle lane 4",
          "Nothing sent: what the path picks up next to the lane's camera cable and a driver's phone.",
          "speech-path");
  lane4.rate_hz = 48000;
  lane4.seconds = 5;
  lane4.whistle_dbfs = -52;
  lane4.phone_dbfs = -30;
  lane4.noise_dbfs = -80;

  DemoPath& lane5 =
      add("lane-5.flac", "Vehicle lane 5", "A 1 kHz tone sent from the post arrives quiet.", "speech-path");
  lane5.tone_hz = 1000;
  lane5.tone_dbfs =
      -25.3;  // one leg of the balanced line is open: 6 dB down, and the line is a little less quiet
  lane5.noise_dbfs = -76;
  lane5.hum = {{1, -70}, {3, -74}, {5, -80}};

  DemoPath& feed =
      add("passenger-information.flac", "Passenger-information feed",
          "The announcement system's output, before it is connected to the hub.", "professional-feed");
  feed.rate_hz = 48000;
  feed.seconds = 6;
  feed.full_scale_v = 17.37;  // 0 dBFS = +24 dBu, so that -20 dBFS is +4 dBu
  feed.speech_dbfs = -7;
  feed.chime_dbfs = -4;
  feed.rail_dbfs = -0.6;
  feed.hum = {{1, -92}};
  feed.noise_dbfs = -88;

  for (DemoPath& path : site) {
    if (path.tone_hz) path.signal = "tone-1k";
    if (path.pair_noise_dbfs) path.signal = "noise-white";
  }
  return site;
}

}  // namespace linebench::signals
