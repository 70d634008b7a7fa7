#include "page_parts.hpp"

namespace linebench::live {

// Text colours keep at least 4.5:1 on both grounds, lines and edges of controls 3:1 (WCAG 2.1 AA); a test
// computes it.
const std::string_view page_style = R"css(
:root{color-scheme:light dark;--bg:#f5f6f4;--card:#ffffff;--ink:#1b2420;--soft:#4f5b55;--edge:#76827c;--one:#0b6655;--two:#9a3c00;
--hum:#7a2c8c;--bad:#a61c14;--good:#1c6336}
@media (prefers-color-scheme:dark){:root{--bg:#111614;--card:#1a211e;--ink:#e8eeeb;--soft:#a9b5af;--edge:#75827b;--one:#5fcdb6;
--two:#f0a06a;--hum:#d9a0e6;--bad:#ff9087;--good:#80d8a0}}
*{box-sizing:border-box}
body{margin:0;background:var(--bg);color:var(--ink);font:16px/1.45 system-ui,"Liberation Sans",sans-serif;overflow-wrap:break-word;hyphens:auto}
main{max-width:1100px;margin:0 auto;padding:10px}
h1{font-size:1.1rem;margin:0 0 6px}h2{font-size:1rem;margin:0 0 4px}
.bar{display:flex;flex-wrap:wrap;gap:8px;align-items:center;margin:6px 0}
button,input,select{font:inherit;color:var(--ink);background:var(--card);border:1px solid var(--edge);border-radius:8px;padding:9px 14px;min-height:44px}
input{flex:1 1 15rem;min-width:8rem;width:15rem;max-width:100%}
button[aria-pressed=true]{background:var(--ink);color:var(--bg)}
:focus-visible{outline:3px solid var(--one);outline-offset:2px}
section{background:var(--card);border:1px solid var(--edge);border-radius:10px;padding:10px;margin:10px 0}
.grid{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,320px),1fr));gap:10px}.grid section{margin:0}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}
th,td{text-align:left;padding:4px 10px 4px 0;border-bottom:1px solid var(--edge);vertical-align:top}
thead th{color:var(--soft);font-weight:600}tbody th{font-weight:500}
td b{font-size:1.15rem;white-space:nowrap;margin-right:.3em}td small,.soft{color:var(--soft)}
td small{display:inline-block}
.sure{color:var(--bad);font-weight:700}.state{font-weight:700}.lost{color:var(--bad);font-weight:700}
.stale td b{color:var(--soft)}
canvas{display:block;width:100%;height:190px}.thumb{height:auto;image-rendering:pixelated;max-width:480px}
.picture{display:grid;grid-template-columns:3fr 1fr;gap:6px}.picture canvas{height:100%}
ol{margin:0;padding-left:1.6em}
@media (max-width:480px){main{padding:6px}th,td{padding-right:6px}td b{font-size:1rem}}
@media (prefers-reduced-motion:reduce){*{transition:none;animation:none}}
)css";

}  // namespace linebench::live
