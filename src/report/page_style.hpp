// The page's style sheet. Contrast: text colours keep at least 4.5:1 on their grounds in light, dark and on
// paper (WCAG 2.1 AA); plot lines at least 3:1.
#pragma once

namespace linebench::report {

inline constexpr const char* page_style = R"css(
:root{color-scheme:light dark;--bg:#f4f6f7;--card:#fff;--ink:#17212b;--soft:#51606d;--rule:#d5dce1;--s0:#0a6a7c;--s1:#a84300;
--fail:#ab1f17;--failbg:#fdeceb;--pass:#17653a;--passbg:#e7f5ec;--open:#7a5200;--openbg:#fdf3dc;--note:#2f5597;--notebg:#e9effa;
--hum:#8a2a8f;--mask:#ab1f17}
@media (prefers-color-scheme:dark){:root{--bg:#10161b;--card:#182027;--ink:#e7edf2;--soft:#a5b2bd;--rule:#33404a;--s0:#58c7da;--s1:#f2a36b;
--fail:#ff8f86;--failbg:#3a1c1b;--pass:#7ddba0;--passbg:#15301f;--open:#f0c455;--openbg:#352a11;--note:#9dbdf5;--notebg:#1b2740;
--hum:#dd9be2;--mask:#ff8f86}}
*{box-sizing:border-box}
body{margin:0;background:var(--bg);color:var(--ink);font:16px/1.5 system-ui,-apple-system,"Segoe UI",Roboto,"Liberation Sans",sans-serif;
-webkit-text-size-adjust:100%;overflow-wrap:break-word}
main{max-width:1060px;margin:0 auto;padding:20px 16px 40px}
h1{font-size:1.55rem;line-height:1.25;margin:0 0 4px}h2{font-size:1.3rem;margin:0;line-height:1.3}
h3{font-size:1.02rem;margin:26px 0 8px}h4{font-size:.95rem;margin:0 0 4px}
p{margin:6px 0}.soft{color:var(--soft)}.small{font-size:.88rem}
section{background:var(--card);border:1px solid var(--rule);border-radius:10px;padding:18px;margin:18px 0}
.verdict{border-left:8px solid;border-radius:6px;padding:10px 14px;margin:12px 0 10px;font-size:1.1rem;line-height:1.4}
.verdict b{letter-spacing:.04em;margin-right:.45em}
.FAIL{color:var(--fail);border-color:var(--fail)}.PASS{color:var(--pass);border-color:var(--pass)}
.INCOMPLETE{color:var(--open);border-color:var(--open)}.MEASURED{color:var(--note);border-color:var(--note)}
.verdict.FAIL{background:var(--failbg)}.verdict.PASS{background:var(--passbg)}
.verdict.INCOMPLETE{background:var(--openbg)}.verdict.MEASURED{background:var(--notebg)}
.facts{color:var(--soft);font-size:.88rem;margin:4px 0 0;padding:0;list-style:none}
.facts li{display:inline}.facts li+li::before{content:"\00b7";padding:0 .45em}
.warn,.note{border-left:4px solid var(--open);padding:2px 10px;margin:8px 0;font-size:.92rem}.note{border-color:var(--rule);color:var(--soft)}
ol.problems{margin:0;padding:0;list-style:none}
ol.problems>li{border:1px solid var(--rule);border-left:5px solid var(--fail);border-radius:6px;padding:10px 14px;margin:10px 0;break-inside:avoid}
ol.problems .what{font-weight:650}.do{margin-top:6px}.do b{color:var(--s0)}
.plots{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,340px),1fr));gap:14px;margin:8px 0}
figure{margin:0;border:1px solid var(--rule);border-radius:8px;padding:10px 12px 8px;break-inside:avoid;min-width:0}
figcaption{color:var(--soft);font-size:.85rem;line-height:1.4}
.plot{display:block;width:100%;height:auto;font:13px system-ui,-apple-system,"Segoe UI",Roboto,"Liberation Sans",sans-serif}
.pl{fill:none;stroke:var(--rule)}.gr,.gm{fill:none;stroke:var(--rule);stroke-width:1}.gm{opacity:.55}
.plot text{fill:var(--soft)}.tx{text-anchor:middle}.ty,.tr{text-anchor:end}.mt{text-anchor:middle;font-weight:650}
.plot .mt{fill:var(--hum)}
.ln{fill:none;stroke-width:2;stroke-linejoin:round;stroke-linecap:round}.thin{stroke-width:1.3}
.s0{stroke:var(--s0)}.s1{stroke:var(--s1);stroke-dasharray:5 2.5}
.b0{fill:var(--s0);opacity:.22}.b1{fill:var(--s1);opacity:.18}
.mask{stroke:var(--mask);stroke-width:1.8;stroke-dasharray:7 4}.rail{stroke:var(--soft);stroke-width:1;stroke-dasharray:2 3}
.hum{stroke:var(--hum)}.under{stroke:#000;stroke-width:4;opacity:.65}.over{stroke:#ffe14a;stroke-width:1.6}
.ev{stroke:var(--fail);stroke-width:.8;opacity:.7}
.mk{stroke-width:1.3;stroke:var(--card)}.m0{fill:var(--hum)}.m1{fill:var(--fail)}.m2{fill:var(--open)}.m3{fill:var(--note)}
table.rank th{width:45%}table.rank td.bar{width:45%}td.bar span{display:block;height:.8em;border-radius:3px;min-width:1px;background:var(--fail)}
td.bar span.good{background:var(--pass)}td.bar span.other{background:var(--open)}ul.ev{margin:2px 0;padding-left:1.2em}
figure.chain{margin:10px 0}.chain ol{display:flex;flex-wrap:wrap;align-items:center;gap:6px 0;list-style:none;margin:6px 0;padding:0}
.chain .box{border:2px solid var(--soft);border-radius:6px;padding:6px 10px;font-weight:600}
.chain .join{padding:0 8px;color:var(--soft);font-size:.88rem}.chain .join::before{content:"\2014\00a0"}.chain .join::after{content:"\00a0\2192"}
ol.problems>li.fine{border-left-color:var(--rule)}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-size:.92rem;font-variant-numeric:tabular-nums}
th,td{text-align:left;padding:5px 10px 5px 0;border-bottom:1px solid var(--rule);vertical-align:top}
thead th{font-size:.82rem;color:var(--soft);font-weight:600;border-bottom-width:2px}
tbody th{font-weight:500}tr.grp th{padding-top:14px;font-weight:700;border-bottom-color:var(--soft)}
td.num{text-align:right;white-space:nowrap}td.unc{color:var(--soft)}th.num{text-align:right}
td.num{padding-right:4px}td.num small,td.unit{color:var(--soft);font-size:.87em}td.num+td.num{padding-left:14px}
tr.bad td,tr.bad th{background:var(--failbg)}tr.bad td.v{font-weight:700}
.tag{font-weight:700;white-space:nowrap}.opt{white-space:nowrap}
td .src{color:var(--soft);font-size:.86em}td.rem{color:var(--soft);font-size:.86em}
a{color:var(--s0)}dl{margin:0}dt{font-weight:600;margin-top:8px}dd{margin:0;color:var(--soft)}
footer{color:var(--soft);font-size:.85rem;margin-top:22px}
@media (max-width:640px){.plot{font-size:15.5px}main{padding:12px 8px 28px}section{padding:12px;border-radius:8px}
table.r,table.r tbody,table.r tr,table.r td,table.r th{display:block;border:0;text-align:left;padding:0}
table.r thead{display:none}table.r tr{border-bottom:1px solid var(--rule);padding:7px 0}table.r tr.grp{padding-top:16px;border-bottom-color:var(--soft)}
table.r td:empty{display:none}table.r td.num,table.r td.unit{display:inline-block;white-space:normal}table.r td.num{margin-right:8px}
table.r td[data-c]::before{content:attr(data-c) " ";color:var(--soft);font-size:.86em}table.r tr.bad{border-left:4px solid var(--fail);padding-left:8px}}
@media print{@page{margin:14mm}html{font-size:12.5px}:root{color-scheme:light;--bg:#fff;--card:#fff;--ink:#000;--soft:#444;--rule:#ccc;--s0:#0a6a7c;--s1:#a84300;
--fail:#9c1710;--failbg:#fdeceb;--pass:#17653a;--passbg:#eef7f1;--open:#6e4a00;--openbg:#fdf3dc;--note:#2f5597;--notebg:#eef2fa;--hum:#8a2a8f;--mask:#9c1710}
body{font-size:9.5pt;-webkit-print-color-adjust:exact;print-color-adjust:exact}main{max-width:none;padding:0}
section{border:0;padding:0;margin:0 0 14pt}section+section{break-before:page}section+section.brief{break-before:auto}h2,h2+p,h3,dt,figcaption,thead,tr.grp,p.verdict,ul.facts,.facts~.warn,.facts~.note{break-after:avoid}tr,.warn,.note,figure.chain{break-inside:avoid}
section.brief+section.brief{margin-top:18pt}.scroll{overflow:visible}dl.small{columns:2;column-gap:16pt}dd{break-before:avoid}
th,td{padding:3px 8px 3px 0}tr.grp th{padding-top:8px}table.rd tbody th[scope=row]{width:20%}td.lim{width:24%}td.rem{width:20%}h3{margin:14px 0 5px}
#diagnosis ol.problems>li{break-inside:auto;padding:6px 10px;margin:6px 0}#diagnosis p{margin:3px 0}#diagnosis .soft{color:var(--ink)}
ol.problems>li.fine{padding:3px 10px;margin:4px 0}.plots{grid-template-columns:1fr 1fr;gap:8px}figure{padding:6px 6px 4px}
figure.chain{margin:5px 0}.chain ol{margin:2px 0}.chain .box{padding:2px 8px}a{color:inherit;text-decoration:none}}
)css";

}  // namespace linebench::report
