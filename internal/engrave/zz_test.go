package engrave
import ("testing";"os")
func TestZZ(t *testing.T){
 p:=openPool(t,2)
 b,_:=os.ReadFile("/tmp/out_reger-op42-1-2.musicxml/part.musicxml")
 s,_:=p.Session(t.Context(),b)
 set,err:=s.Excerpts(t.Context(),[][2]int{{3,3},{6,6},{19,20},{29,31},{32,33}},180); if err!=nil{t.Fatal(err)}
 s.Close()
 o:=set.Glyphs; for _,x := range set.SVG { o+=x+"<br>" }
 o2,_:=p.SVG(t.Context(), readScore(t,"/work/shared/data/musicxml/suite/23f-Tuplets-DurationButNoBracket.xml"), Excerpt("",120))
 os.WriteFile("/tmp/t.html",[]byte("<style>.glyphs{position:absolute;width:0;height:0}</style>"+o+"<div style='width:500px'>"+o2[0]+"</div>"),0o644)
}
