#include "take/chart.hpp"

namespace bowarm
{

// Plain colours rather than variables: not every program that draws SVG knows those.
std::string_view chart_style() noexcept
{
    return R"(svg{font-family:sans-serif;font-size:9px}
text{fill:#1c1c1c}
.paper{fill:#fff}
.title{font-size:15px;font-weight:bold}
.small,.foot{font-size:8.5px}
.foot{fill:#333}
.label{text-anchor:end;fill:#555;font-size:8px}
.bar-number{font-size:9px;font-weight:bold}
.word{font-style:italic;font-size:10px}
.clef{font-family:serif;font-size:14px;font-weight:bold;text-anchor:end}
.small-clef{font-size:8px}
.sharp{text-anchor:end;font-size:9px}
.lane{fill:#f4f3ef}
.end{fill:#e0dbcf}
.barline{stroke:#777;stroke-width:1}
.beat{stroke:#d2cec4;stroke-width:.6}
.frog{stroke:#1c1c1c;stroke-width:3}
.tip{stroke:#1c1c1c;stroke-width:.8}
.down,.up,.core,.lift,.curve,.hatch,.sign,.slur{fill:none;stroke-linejoin:round;stroke-linecap:round}
.down{stroke:#0b4f8a;stroke-width:3.4}
.up{stroke:#a8460c;stroke-width:4}
.core{stroke:#f4f3ef;stroke-width:1.8}
.lift{stroke:#777;stroke-width:1;stroke-dasharray:1 3}
.curve{stroke:#1c1c1c;stroke-width:1.1}
.limits{fill:#cfd9d2}
.hatch{stroke:#b3001b;stroke-width:1;stroke-linecap:butt}
.runout{stroke:#b3001b;stroke-width:3}
.sign,.slur{stroke:#1c1c1c;stroke-width:1.2}
.square{stroke-linejoin:miter}
.slur{stroke-width:.9}
.staff{stroke:#8a867c;stroke-width:.6}
.ledger{stroke:#8a867c;stroke-width:.8}
.head{fill:#1c1c1c}
.held{stroke:#9a958a;stroke-width:1.6}
.mark{fill:#b3001b}
.mark-mild{fill:#6d675b}
.mark-number{fill:#fff;font-size:8px;font-weight:bold;text-anchor:middle}
.touch{fill:#000;fill-opacity:0}
.touch:hover{fill-opacity:.08}
@media screen and (prefers-color-scheme:dark){
text{fill:#ece9e1}
.paper{fill:#15171a}
.foot{fill:#cfcbc2}
.label{fill:#a8a49b}
.lane{fill:#22252a}
.end{fill:#383530}
.barline{stroke:#8b8f96}
.beat{stroke:#3a3f46}
.frog,.tip,.curve,.sign,.slur{stroke:#ece9e1}
.down{stroke:#6db6f2}
.up{stroke:#f0a060}
.core{stroke:#22252a}
.lift{stroke:#9a9a9a}
.limits{fill:#3b4a42}
.hatch,.runout{stroke:#ff6b78}
.staff,.ledger,.held{stroke:#7d7a72}
.head{fill:#ece9e1}
.mark{fill:#ff6b78}
.mark-mild{fill:#b8b2a5}
.mark-number{fill:#15171a}
.touch{fill:#fff}
}
)";
}

} // namespace bowarm
