#include "take/chart.hpp"

#include "take/svg.hpp"

namespace bowarm
{
namespace
{

// Nothing may be fetched: the policy says so to the browser, too.
constexpr std::string_view head = R"(<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'">
)";

constexpr std::string_view looks = R"(<style>
body{margin:0;font-family:sans-serif;background:#e9e6de;color:#1c1c1c}
header{position:sticky;top:0;z-index:1;display:flex;flex-wrap:wrap;gap:.5em;align-items:center;padding:.4em .6em;background:#fff;border-bottom:1px solid #bbb}
header h1{font-size:1rem;margin:0 1em 0 0}
button{font:inherit;min-width:2.6em;min-height:2.4em}
#told{flex:1 1 100%;min-height:2.6em;font-size:.9rem;margin:0}
main{overflow-x:auto}
main svg{display:block;height:auto;width:calc(var(--zoom)*1%);min-width:calc(var(--zoom)*6.8px);margin:0 auto .8em}
@media(min-width:1000px){main svg{width:calc(var(--zoom)*9.5px)}}
@media screen and (prefers-color-scheme:dark){body{background:#0d0e10;color:#ece9e1}header{background:#1b1d21;border-color:#444}}
@page{size:A4;margin:0}
@media print{header{display:none}body{background:#fff}main{overflow:visible}main svg{width:210mm;height:296mm;min-width:0;margin:0;break-after:page}main svg:last-child{break-after:auto}}
</style>
)";

constexpr std::string_view controls =
    R"(<p id="told" aria-live="polite">Point at a stroke, a note or a number, or touch it, to read about it.</p>
<button id="smaller" aria-label="smaller">&#8722;</button>
<button id="larger" aria-label="larger">+</button>
</header>
)";

constexpr std::string_view script = R"(<script>
"use strict";
const main = document.querySelector("main"), told = document.getElementById("told");
let zoom = 100;
function show(by) {
  const share = main.scrollLeft / Math.max(1, main.scrollWidth);
  zoom = Math.min(400, Math.max(50, zoom * by));
  main.style.setProperty("--zoom", zoom);
  main.scrollLeft = share * main.scrollWidth;
}
document.getElementById("smaller").addEventListener("click", () => show(0.8));
document.getElementById("larger").addEventListener("click", () => show(1.25));
document.addEventListener("keydown", (e) => { if (e.key === "+") show(1.25); if (e.key === "-") show(0.8); });
function tell(e) {
  for (let at = e.target; at && at !== main && at.tagName !== "svg"; at = at.parentNode) {
    const title = at.querySelector && at.querySelector(":scope > title");
    if (title) { told.textContent = title.textContent; return; }
  }
}
main.addEventListener("pointerover", tell);
main.addEventListener("pointerdown", tell);
</script>
)";

} // namespace

std::string chart_html(std::string_view title, std::span<const std::string> pages)
{
    const std::string name = xml_text(title);
    std::string text{head};
    text += "<title>" + name + ", bow chart</title>\n";
    text += looks;
    text += "</head>\n<body>\n<header><h1>" + name + "</h1>\n";
    text += controls;
    text += "<main style=\"--zoom:100\">\n";
    for (const std::string& page : pages) text += page;
    text += "</main>\n";
    text += script;
    text += "</body>\n</html>\n";
    return text;
}

} // namespace bowarm
