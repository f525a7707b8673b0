"""prints (spoken, written) samples"""
import random, re, sys, glob, yaml
from functools import cache
from tests.bench import corpus_texts as texts
from handsfree.language.phonetics import nearest
UNITS=("degrees fahrenheit","degrees celsius","degrees","volts","ohms","p s i","amps")
WR={"degrees fahrenheit":"degrees Fahrenheit","degrees celsius":"degrees Celsius","p s i":"PSI"}
@cache
def material():
    answers,sentences=set(),set()
    for f in sorted(glob.glob("procedures/*.yaml")):
        if "revision" in f: continue
        d=yaml.safe_load(open(f))
        for s in d["steps"]:
            for a in (s.get("answers") or {}): answers.add(str(a).lower())
            for t in re.split(r"(?<=[.?!])\s+", str(s.get("say",""))):
                if 2<=len(t.split())<=9 and not re.search(r"[\d{}]",t): sentences.add(t)
    for c in texts.CHOICES: answers.update(c)
    return sorted(answers), sorted(sentences)
COMMANDS=[w for ws in texts.COMMANDS.values() for w in ws]+["correction","note","what next","why","faster","slower","louder","softer","power is on","stop the visit","affirm","what can i say","negative","new step","keep it"]
def cap(t): return t[:1].upper()+t[1:]
def wr(t,q=False): 
    t=re.sub(r"\bi\b","I",t)
    return cap(t)+("?" if q else ".")
def number(luck):
    v,said,unit=texts.reading(luck)
    tail=next((u for u in UNITS if said.endswith(u)),"")
    body=said[:len(said)-len(tail)].strip()
    m=re.split(r" (?:point|decimal) ",body)
    dec=len(m[1].split()) if len(m)>1 else 0
    fig=f"{v:.{dec}f}"
    # sometimes the number in a near -teen/-ty form
    return said, (f"{fig} {WR.get(tail,tail)}".strip()+".")
def teen(luck):
    t=luck.choice(texts._TEENS[3:]+texts._TENS[2:]); pre=luck.choice(("","","one hundred and ","two hundred ","four hundred and ","three "))
    val={**{w:13+i for i,w in enumerate(texts._TEENS[3:])},**{w:10*(i+2) for i,w in enumerate(texts._TENS[2:])}}[t]
    h={"":0,"one hundred and ":100,"two hundred ":200,"four hundred and ":400,"three ":300}[pre]
    tail=luck.choice(("",)+UNITS); p=""
    fig=str(h+val)
    if luck.random()<.3:
        d=luck.randrange(10); p=f" point {texts.DIGITS[d]}"; fig+=f".{d}"
    return f"{pre}{t}{p} {tail}".strip(), f"{fig} {WR.get(tail,tail)}".strip()+"."
DW={w:str(i) for i,w in enumerate(texts.DIGITS)}
def lockwr(t):
    ws=t.split(); out=[]
    for w in ws: out.append(DW.get(w.strip(","),w) )
    s=" ".join(out)
    s=re.sub(r"\b(\w*(?:solat|sulat)\w*),? (?=\w+ \d)",r"\1, ",s)
    q=bool(re.match(r"(is it|shall i|isn't|was)",s))
    return wr(s,q)
def one(luck):
    answers,sentences=material()
    r=luck.random()
    if r<.28: return number(luck)
    if r<.38: return teen(luck)
    if r<.49:
        n=texts.lock(luck); op=luck.choice(("isolated lock","isolated lock","isolated, lock","clear lock"))
        return f"{op} {' '.join(n)}", lockwr(f"{op} {' '.join(n)}")
    if r<.62:
        t=texts.near_miss(texts.lock(luck),luck); 
        if luck.random()<.3:
            n=texts.lock(luck); w=luck.choice(nearest("lock",12)+nearest("isolated",8)); 
            t=f"isolated {w} {' '.join(n)}" if w in nearest("lock",12) else f"{w} lock {' '.join(n)}"
        return t, lockwr(t)
    if r<.66: 
        n=" ".join(texts.lock(luck)); return n, lockwr(n)
    if r<.78:
        p=luck.choice(answers); return p, wr(p)
    if r<.85:
        c=luck.choice(COMMANDS); return c, wr(c)
    if r<.90:
        p=luck.choice(answers); k=luck.randrange(4)
        t=[f"not {p}",f"it is not {p}",f"is it {p}",f"i think {p}"][k]; return t, wr(t,k==2)
    if r<.94:
        w=luck.choice([x for a in answers for x in a.split() if len(x)>2]); n=nearest(w,6)
        t=luck.choice(n) if n else w; return t, wr(t)
    if r<.97:
        s=luck.choice(sentences); return s, s
    t=luck.choice(texts.UNRELATED); return t, wr(t, bool(re.match(r"(what|did|can|how|where|is|do|have|who|was)\b",t)))
if __name__=="__main__":
    l=random.Random(1)
    for _ in range(60): print(one(l))
