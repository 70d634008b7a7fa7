#include "page_parts.hpp"

namespace linebench::live {

// All text goes in as text, never as markup. Numbers are shown as the program rounded them ("shown"), so that
// page, terminal and JSON cannot differ.
const std::string_view page_script = R"js(
'use strict';
const $=id=>document.getElementById(id);
const make=(tag,text,cls)=>{const e=document.createElement(tag);if(text!==undefined)e.textContent=text;if(cls)e.className=cls;return e};
const post=(path,body)=>fetch(path,{method:'POST',headers:{'Content-Type':'application/json'},body:JSON.stringify(body)});
const sides=['.left','.right'];
const split=id=>{for(const s of sides)if(id.endsWith(s))return[id.slice(0,-s.length),s.slice(1)];const m=/^(.*)\.(ch\d+)$/.exec(id);return m?[m[1],m[2]]:[id,'']};
let now=null,traces=null,answered=0,rows=new Map(),shape='';
if(location.search)history.replaceState(null,'','/');
const minutes=s=>Math.floor(s/60)+':'+(s%60).toFixed(1).padStart(4,'0');
const hidden=r=>/\.harmonic\.|\.times$|^audio\.imd\.|multiburst|\.dc(\.|$)|bs468_peak|^picture\.bars\.|_mv$/.test(r.id)||r.id.startsWith('audio.level.voltage')&&r.value===null;
const first=['audio.signal','audio.level.rms','audio.hum.level','audio.hum.kind','audio.hum.frequency','picture.signal','picture.hum.level'];
const place=r=>{const i=first.indexOf(split(r.id)[0]);return i<0?first.length:i};
function table(list){
 const ids=list.map(r=>r.id).join();
 if(ids!==shape){shape=ids;build(list)}
 const changes=new Map(now.changes.map(c=>[c.id,c]));
 for(const r of list){
  const row=rows.get(r.id);if(!row)continue;
  const s=r.shown;
  row.value.textContent=s.value;
  row.rest.textContent=(s.uncertainty?' \u00b1'+s.uncertainty:'')+(s.unit?' '+s.unit:'');
  row.cell.title=r.reason||'';
  row.value.dataset.value=r.value===null||typeof r.value==='object'?'':r.value;
  row.cell.dataset.verdict=r.verdict;
  const c=changes.get(r.id);
  row.change.textContent=c?(c.words||(c.difference>=0?'+':'\u2212')+Math.abs(c.difference).toFixed(2))+(c.certain?' !':''):'';
  row.change.className=c&&c.certain?'sure':'soft';
 }
}
function build(list){
 const body=$('rows');body.replaceChildren();rows=new Map();
 const by=new Map(),names=[];
 for(const r of list){const[base,side]=split(r.id);if(!by.has(base))by.set(base,new Map());by.get(base).set(side,r);if(side&&!names.includes(side))names.push(side)}
 const head=$('head');head.replaceChildren(make('th',''));
 for(const n of names.length?names:['now']){head.append(make('th',n))}
 for(const[base,group]of by){
  const tr=make('tr');const th=make('th',[...group.values()][0].label.replace(/, (left|right|channel \d+)$/,''));th.scope='row';tr.append(th);
  const order=group.has('')?['']:names;
  for(const n of order){
   const r=group.get(n);const td=make('td');if(n===''&&names.length>1)td.colSpan=names.length;
   if(r){const b=make('b');b.dataset.id=r.id;const rest=make('small'),change=make('span'),gap=make('span',' ');td.append(b,rest,gap,change);rows.set(r.id,{value:b,rest,change,cell:td})}
   tr.append(td)}
  body.append(tr)}
 const pick=$('follow'),was=pick.value;pick.replaceChildren();
 for(const r of list)if(r.unit==='dBFS'||r.unit==='dB'||r.unit.startsWith('%')){const o=make('option',r.label);o.value=r.id;pick.append(o)}
 const hum=list.find(r=>r.id.startsWith('audio.hum.level'));
 if([...pick.options].some(o=>o.value===was))pick.value=was;else if(hum)pick.value=hum.id;
}
function show(j){
 now=j;answered=performance.now();
 $('state').textContent=(j.held?'HELD':j.state)+'  '+minutes(j.time_s);
 $('source').textContent=j.input.source||'';
 $('note').textContent=j.note;
 $('hold').setAttribute('aria-pressed',j.held);
 table(j.readings.filter(r=>!hidden(r)).sort((a,b)=>place(a)-place(b)));
 const list=$('marks');
 if(list.childElementCount!==j.marks.length){list.replaceChildren();for(const m of j.marks)list.append(make('li',minutes(m.time_s)+'  '+m.text+(m.stored?'; '+m.stored:'')))}
 $('since').textContent=j.marks.length?'changes since "'+j.marks[j.marks.length-1].text+'"; ! means beyond its uncertainty':'';
 document.documentElement.dataset.number=j.number;
 sound(j);
}
const colour=name=>getComputedStyle(document.documentElement).getPropertyValue(name).trim();
function plot(canvas){
 const r=devicePixelRatio||1,w=canvas.clientWidth||300,h=canvas.clientHeight||150;
 if(canvas.width!==Math.round(w*r)||canvas.height!==Math.round(h*r)){canvas.width=Math.round(w*r);canvas.height=Math.round(h*r)}
 const g=canvas.getContext('2d');g.setTransform(r,0,0,r,0,0);g.clearRect(0,0,w,h);g.font='12px system-ui,sans-serif';g.lineWidth=1.6;return{g,w,h};
}
function line(g,points,style,dash){
 g.strokeStyle=style;g.setLineDash(dash||[]);g.beginPath();let on=false;
 for(const[x,y]of points){if(y===null||!isFinite(y)){on=false;continue}if(on)g.lineTo(x,y);else g.moveTo(x,y);on=true}
 g.stroke();g.setLineDash([]);
}
function spectrum(){
 const{g,w,h}=plot($('spectrum'));const lo=20,hi=20000,top=0,low=-130;
 const X=f=>30+(w-34)*Math.log(f/lo)/Math.log(hi/lo),Y=d=>4+(h-22)*(top-Math.max(d,low))/(top-low);
 g.fillStyle=colour('--soft');g.strokeStyle=colour('--edge');g.lineWidth=.6;
 for(const d of[0,-40,-80,-120]){line(g,[[30,Y(d)],[w-4,Y(d)]],colour('--edge'));g.fillText(d,0,Y(d)+4)}
 for(const f of[50,100,500,1000,5000,10000]){g.fillText(f<1000?f:f/1000+'k',X(f)-8,h-4)}
 g.lineWidth=1;
 const hum=now&&now.readings.find(r=>r.id.startsWith('audio.hum.frequency')&&typeof r.value==='number');
 if(hum)for(let n=1;n<=20&&n*hum.value<hi;n++)line(g,[[X(n*hum.value),4],[X(n*hum.value),h-18]],colour('--hum'),[2,3]);
 g.lineWidth=1.6;
 (traces.spectra||[]).forEach((s,i)=>line(g,s.x.map((f,k)=>[X(Math.max(f,lo)),f<lo?null:Y(s.y[k])]),colour(i?'--two':'--one'),i?[5,2]:[]));
}
function tracks(id,keep,low,high){
 const{g,w,h}=plot($(id));const names=Object.keys(traces.history.tracks).filter(keep);
 const all=names.flatMap(n=>traces.history.tracks[n]).filter(v=>v!==null);
 if(!all.length)return;
 const min=Math.min(...all,high-10)-1,max=Math.max(...all)+1;
 const Y=v=>v===null?null:4+(h-22)*(max-v)/(max-min);
 g.fillStyle=colour('--soft');g.fillText(max.toFixed(0),0,14);g.fillText(min.toFixed(0),0,h-20);g.fillText('5 min',34,h-4);g.fillText('now',w-28,h-4);
 names.forEach((n,i)=>{const t=traces.history.tracks[n];line(g,t.map((v,k)=>[34+(w-38)*k/(t.length-1),Y(v)]),colour(i?'--two':'--one'),i?[5,2]:[])});
}
function picture(p){
 $('pictures').hidden=!p;if(!p)return;
 const c=$('thumb');if(c.width!==p.width||c.height!==p.height){c.width=p.width;c.height=p.height}
 const g=c.getContext('2d'),raw=atob(p.rgb),image=g.createImageData(p.width,p.height);
 for(let i=0,k=0;i<raw.length;i+=3){image.data[k++]=raw.charCodeAt(i);image.data[k++]=raw.charCodeAt(i+1);image.data[k++]=raw.charCodeAt(i+2);image.data[k++]=255}
 g.putImageData(image,0,0);
 const q=plot($('profile')),n=p.row_mean.length;
 line(q.g,p.row_mean.map((v,i)=>[q.w*v/255,q.h*(i+.5)/n]),colour('--one'));
}
function draw(){
 if(!traces)return;
 const audio=traces.spectra.length>0;$('audio').hidden=!audio;
 if(audio){spectrum();tracks('levels',n=>n.startsWith('audio.level'),-60,0)}
 tracks('hums',n=>n.includes('.hum.level'),-80,-40);
 picture(traces.picture);
}
let audio=null,tone=null;
const pitch=r=>{const[lo,hi]=r.unit.startsWith('%')?[0,10]:r.unit==='dB'?[0,80]:[-100,0]; // as pitch_hz()
 return 220*Math.pow(2,3*Math.min(1,Math.max(0,(r.value-lo)/(hi-lo))))};
function sound(j){
 const b=$('pitch');b.disabled=!j.page_sound;
 $('why').textContent=j.page_sound?'':'Pitch on this machine: start with --pitch DEVICE, since this machine\'s output may be the path\'s.';
 if(!tone)return;
 const r=j.readings.find(x=>x.id===$('follow').value);
 const on=r&&typeof r.value==='number'&&!j.held&&j.page_sound;
 tone.gain.gain.setTargetAtTime(on?.05:0,audio.currentTime,.03);
 if(on)tone.osc.frequency.setTargetAtTime(pitch(r),audio.currentTime,.03);
}
$('pitch').onclick=()=>{
 if(tone){tone.osc.stop();tone=null}else{audio=audio||new AudioContext();const osc=audio.createOscillator(),gain=audio.createGain();gain.gain.value=0;osc.connect(gain).connect(audio.destination);osc.start();tone={osc,gain}}
 $('pitch').setAttribute('aria-pressed',!!tone);
};
const hold=()=>post('/hold',{on:!(now&&now.held)});
$('hold').onclick=hold;
$('marking').onsubmit=e=>{e.preventDefault();const t=$('text');post('/mark',{text:t.value}).then(r=>r.ok?t.value='':r.text().then(x=>$('note').textContent=x));t.blur()};
document.addEventListener('keydown',e=>{
 if(e.ctrlKey||e.metaKey||e.altKey)return;
 if(e.key==='Escape'){document.activeElement.blur();return}
 if(/INPUT|SELECT/.test(e.target.tagName))return;
 if(e.key==='h'){hold()}else if(e.key==='m'){e.preventDefault();$('text').focus()}else if(e.key==='p'&&!$('pitch').disabled){$('pitch').click()}
});
async function ask(where,then,every){
 for(;;){
  try{const r=await fetch(where());if(r.status===401){location.reload();return}if(r.status===204)answered=performance.now();else if(r.ok)then(await r.json())}catch(e){}
  const lost=performance.now()-answered>1500;
  $('lost').hidden=!lost;document.body.classList.toggle('stale',lost);
  if(lost&&tone)tone.gain.gain.value=0;
  await new Promise(done=>setTimeout(done,document.hidden?1000:every));
 }
}
ask(()=>'/readings'+(now?'?after='+now.number:''),show,60);
ask(()=>'/traces',t=>{traces=t;draw()},500);
)js";

const std::string_view code_script = R"js(
'use strict';
document.getElementById('ask').onsubmit=async e=>{
 e.preventDefault();
 const r=await fetch('/code',{method:'POST',headers:{'Content-Type':'application/json'},body:JSON.stringify({code:document.getElementById('code').value})});
 if(r.ok)location.replace('/');else document.getElementById('answer').textContent=await r.text();
};
)js";

}  // namespace linebench::live
