# profile limits of the two tables by SciPy: constrained least squares at each value, from many starts
import numpy as np, sys
from scipy.optimize import least_squares, brentq
from scipy.stats import t as T
def read(p):
    r=[l.split(',') for l in open(p) if l[0].isdigit()]
    return np.array([[float(a) for a in l] for l in r]).T
def fp(p,x): y0,yi,c,h=p; return yi+(y0-yi)/(1+(x/c)**h)
def mm(p,x): return p[0]*x/(p[1]+x)
for path,f,starts,lo,names in (('/tmp/s16/walk/profile-end.csv',fp,[(10,-13,11,.85),(10,0,3,1),(10,3,2,1.5),(10,-100,100,.7),(10,-5,5,1)],[-np.inf,-np.inf,1e-12,1e-6],['y0','yinf','IC50','h']),
   ('/tmp/s16/walk/mm-profile-end.csv',mm,[(40,4),(2,.2),(400,40),(10,1)],[1e-12,1e-12],['Vmax','Km'])):
    x,y=read(path)
    best=min((least_squares(lambda p:f(p,x)-y,s,bounds=(lo,np.inf),x_scale=np.abs(s)+1e-2,xtol=1e-15,ftol=1e-15,gtol=1e-15,max_nfev=20000) for s in starts),key=lambda r:r.cost)
    S=2*best.cost; n=len(x); k=len(best.x); s2=S/(n-k); t=T.ppf(.975,n-k)
    print(path,best.x,S)
    for j in range(k):
        trail=[best.x]
        def h(v):
            fr=[i for i in range(k) if i!=j]
            c=None
            for s in [trail[-1]]+[np.array(q,float) for q in starts]+[best.x]:
                def g(q):
                    p=np.empty(k); p[j]=v; p[fr]=q; return f(p,x)-y
                s0=np.maximum(np.array(s)[fr],np.array(lo)[fr]+1e-9) 
                r=least_squares(g,s0,bounds=(np.array(lo)[fr],np.inf),x_scale=np.maximum(np.abs(s0),1e-6),xtol=1e-15,ftol=1e-15,gtol=1e-15,max_nfev=5000)
                if c is None or r.cost<c.cost: c=r
            p=np.empty(k);p[j]=v;p[fr]=c.x; trail.append(p)
            return np.sqrt(max(2*c.cost-S,0)/s2)-t
        for sg in (-1,1):
            trail[:]=[best.x]; prev=best.x[j]; step=abs(best.x[j])*.02; v=prev; out=None
            for i in range(60):
                v=prev+sg*step
                if v<=lo[j]: v=(prev+lo[j])/2 if np.isfinite(lo[j]) else v
                hv=h(v)
                if hv>0: out=brentq(h,min(prev,v),max(prev,v),xtol=1e-12,rtol=1e-10); break
                prev=v; step*=1.3
            print(' ',names[j],sg,out, 'reached',v,hv)
